#include <algorithm>
#include <array>

#include "rules/sections.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

using Action = Step::Action;

const StepAction* action_in(const Key<Step>& key) { return std::get_if<StepAction>(&key.value); }

// The one key of a step that says what it does; null, and a diagnostic, where there is none or a
// second.
const Key<Step>* action_of(Table<Step>& step) {
  const Key<Step>* found = nullptr;
  for (const Key<Step>& key : step.section().keys) {
    if (action_in(key) == nullptr || !step.has(key)) continue;
    if (found == nullptr) {
      found = &key;
      continue;
    }
    const Position p = step.at_key(*found), q = step.at_key(key);
    const bool in_order = std::pair(p.line, p.column) < std::pair(q.line, q.column);
    const std::string_view first = in_order ? found->name : key.name;
    const std::string_view second = in_order ? key.name : found->name;
    step.diagnostics().add(in_order ? q : p,
                           "a step has one action; this one has " + std::string(first) + " already",
                           "make " + std::string(second) + " a step of its own");
    return nullptr;
  }
  if (found == nullptr) {
    step.need(step.section().keys.front(), "or another action; a step has exactly one");
  }
  return found;
}

// "feed_mm, lift_mm and move_mm": the actions that `companion` goes with.
std::string partners(const Section<Step>& section, std::string_view companion) {
  std::vector<std::string_view> names;
  for (const Key<Step>& key : section.keys) {
    const StepAction* a = action_in(key);
    if (a != nullptr && a->goes_with(companion)) names.push_back(key.name);
  }
  std::string out;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) out += i + 1 == names.size() ? " and " : ", ";
    out += names[i];
  }
  return out;
}

void check_companions(const Table<Step>& step, const Key<Step>& action) {
  for (const Key<Step>& key : step.section().keys) {
    if (action_in(key) != nullptr || !step.has(key)) continue;
    if (action_in(action)->goes_with(key.name)) continue;
    step.diagnostics().add(step.at_key(key),
                           std::string(key.name) + " does not go with " + std::string(action.name),
                           "it goes with " + partners(step.section(), key.name) +
                               (key.hint.empty() ? "" : "; " + std::string(key.hint)));
  }
}

// A step, and the positions of the values that other sections restrict.
struct ReadStep {
  Step value;
  Position amount_at;
  Position speed_at;  // of its speed, or of its amount where it has none
};

std::optional<ReadStep> read_step(const toml::node& node, const Machine& machine,
                                  Diagnostics& diagnostics) {
  const toml::table* raw = node.as_table();
  if (raw == nullptr) {
    diagnostics.add(position_of(node), "a step must be a table, not " + kind_of(node),
                    "such as { dwell_s = 1.5 }");
    return std::nullopt;
  }
  Table step(*raw, sections::steps, "a step", diagnostics);
  const Key<Step>* key = action_of(step);
  if (key == nullptr) return std::nullopt;

  ReadStep read{{}, step.at(*key), step.at(*key)};
  Step& out = read.value;
  out.action = action_in(*key)->action;
  step.read(out);
  check_companions(step, *key);
  if (out.speed_mm_s) read.speed_at = step.at(&Step::speed_mm_s);
  for (std::size_t i = 0; i < out.move_mm.size(); ++i) {
    const Range travel = machine.travel_mm[i];
    if (!out.move_mm[i] || (*out.move_mm[i] >= travel.low && *out.move_mm[i] <= travel.high)) {
      continue;
    }
    const std::string axis(1, "xyz"[i]);
    diagnostics.add(position_of(*step.node(*key)->as_table()->get(axis)),
                    axis + " = " + text_of(*out.move_mm[i]) +
                        " is outside machine.travel_mm, which is " + text_of(travel.low) + " to " +
                        text_of(travel.high));
  }
  return read;
}

// Checks a template of [dialect]: its {placeholders} are known, and those it needs are there.
void check_template(const Table<Dialect>& dialect, std::string Dialect::*field,
                    const std::string& text) {
  static constexpr std::array<std::string_view, 4> all{"tool", "heater", "temp", "least"};
  const std::span known = std::span(all).first(field == &Dialect::wait ? 4 : 3);
  const auto report = [&](std::string message, std::string hint) {
    dialect.diagnostics().add(
        dialect.at(field), std::string(dialect.section().of(field).name) + ' ' + std::move(message),
        std::move(hint));
  };
  bool temp = false, which = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '}') return report("has a } without its {", {});
    if (text[i] != '{') continue;
    const std::size_t end = text.find_first_of("{}", i + 1);
    if (end == std::string::npos || text[end] == '{') {
      return report("has a { without its }", {});
    }
    const std::string word = text.substr(i + 1, end - i - 1);
    if (std::find(known.begin(), known.end(), word) == known.end()) {
      return report("has an unknown placeholder " + quoted('{' + word + '}'), suggest(word, known));
    }
    if (word == "temp") temp = true;
    if (word == "tool" || word == "heater") which = true;
    i = end;
  }
  if (!temp) return report("must contain {temp}", {});
  if (!which) return report("must contain {tool} or {heater}", {});
}

// {least} and wait_window_c need each other: without the one the other would do nothing.
void check_window(const Table<Dialect>& dialect, const Dialect& read, bool own_wait) {
  constexpr std::string_view kLeast = "{least}";
  const bool least = own_wait && read.wait.find(kLeast) != std::string::npos;
  const auto& window = dialect.section().of(&Dialect::wait_window_c);
  constexpr std::string_view kHint =
      "{least} is the target less wait_window_c, such as wait_window_c = 2";
  if (least && read.wait_window_c <= 0) {
    if (dialect.need(window, kHint) && dialect.was_read(window)) {
      dialect.diagnostics().add(dialect.at(window),
                                "wait_window_c must be over 0 where wait has {least}",
                                std::string(kHint));
    }
  } else if (!least && read.wait_window_c > 0) {
    dialect.diagnostics().add(dialect.at(&Dialect::wait_window_c),
                              "wait_window_c does nothing unless wait has {least}",
                              "such as wait = \"AWAIT_AT_LEAST T{tool} S{temp} L{least}\"");
  }
}

// A minimum is reached no later than its target is.
void check_reached(const Table<Dialect>& dialect, const Dialect& read,
                   const std::vector<Toolhead>& toolheads) {
  if (read.wait_window_c <= 0) return;
  for (const Toolhead& head : toolheads) {
    if (head.hotend.reached_c <= read.wait_window_c) continue;
    dialect.diagnostics().add(
        dialect.at(&Dialect::wait_window_c),
        "wait_window_c is less than reached_c of toolhead " + quoted(head.name) + ", which is " +
            text_of(head.hotend.reached_c),
        "a wait for {least} would last longer than one for the target itself");
    return;
  }
}

// An echo has to say something.
void check_echo(const Table<Dialect>& dialect, const std::vector<std::string>& lines) {
  static constexpr std::string_view kText = "{text}";
  const bool says = std::any_of(lines.begin(), lines.end(), [](const std::string& line) {
    return line.find(kText) != std::string::npos;
  });
  if (says || lines.empty()) return;
  dialect.diagnostics().add(dialect.at(&Dialect::echo), "echo must contain {text}",
                            "such as echo = \"M118 {text}\"");
}

}  // namespace

void read_steps(const Table<Rules>& root, const Machine& machine, std::vector<Sequence>& into,
                StepPlaces& places) {
  const toml::table* steps = root.named(sections::steps);
  if (steps == nullptr) return;
  Diagnostics& diagnostics = root.diagnostics();
  for (const auto& [key, node] : *steps) {
    const std::string name(key.str());
    if (name.empty()) diagnostics.add(key.source().begin, "a step sequence must have a name");
    if (const auto why = why_unfit(name)) {
      diagnostics.add(key.source().begin, "the name of a step sequence " + *why);
    }
    const toml::array* array = node.as_array();
    if (array == nullptr) {
      diagnostics.add(position_of(node),
                      quoted(name) + " must be an array of steps, not " + kind_of(node),
                      "such as [ { dwell_s = 1.5 } ]");
      continue;
    }
    Sequence sequence{name, {}};
    for (const toml::node& element : *array) {
      const auto step = read_step(element, machine, diagnostics);
      if (!step) continue;
      if (step->value.action == Action::temp) {
        places.temperatures[name].push_back({step->value.amount, step->amount_at});
      }
      const bool pushes = step->value.action == Action::make_up ||
                          (step->value.action == Action::feed && step->value.amount > 0);
      if (pushes) {
        places.feeds[name].push_back({step->value.speed_mm_s, step->speed_at});
      }
      sequence.steps.push_back(step->value);
    }
    into.push_back(std::move(sequence));
  }
}

void read_dialect(const Table<Rules>& root, const std::vector<Toolhead>& toolheads, Dialect& into) {
  auto t = root.one(sections::dialect);
  if (!t) return;
  t->read(into);
  const bool own_set = t->was_read(&Dialect::set), own_wait = t->was_read(&Dialect::wait);
  if (own_set) check_template(*t, &Dialect::set, into.set);
  if (own_wait) check_template(*t, &Dialect::wait, into.wait);
  check_window(*t, into, own_wait);
  check_reached(*t, into, toolheads);
  if (t->was_read(&Dialect::echo)) check_echo(*t, into.echo);
  if (into.temperature_index_is_heater) {
    // T means the same in what is written as in the job.
    if (!own_set) into.set = "M104 T{heater} S{temp}";
    if (!own_wait) into.wait = "M109 T{heater} S{temp}";
  }
}

}  // namespace forewarm::rules
