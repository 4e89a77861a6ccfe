#include <algorithm>
#include <array>

#include "rules/sections.h"

namespace forewarm::rules {

namespace {

using Action = Step::Action;

struct ActionKey {
  std::string_view key;
  Action action;
  Limits limits;               // of its number, where it has one
  std::string_view companion;  // the one other key it may have
};

// Beyond any machine's reach, so that a slip in the unit shows: a lift of 0.8 mm written as 800000.
constexpr Limits kLength{-1000, 1000};
constexpr Limits kLift{0, 1000, true};
constexpr Limits kSpeed{0, 10000, true};

constexpr std::array<ActionKey, 10> kActions{{
    {"feed_mm", Action::feed, kLength, "speed_mm_s"},
    {"lift_mm", Action::lift, kLift, "speed_mm_s"},
    {"back", Action::back, {}, {}},
    {"dwell_s", Action::dwell, kMachineSeconds, {}},
    {"move_mm", Action::move, {}, "speed_mm_s"},
    {"temp_c", Action::temp, {0, 1000}, {}},
    {"temp_offset_c", Action::temp_offset, {-500, 500}, {}},
    {"wait", Action::wait, {}, {}},
    {"fan", Action::fan, {0, 1}, {}},
    {"gcode", Action::gcode, {}, "seconds"},
}};

std::vector<std::string_view> step_keys() {
  std::vector<std::string_view> keys;
  for (const ActionKey& a : kActions) keys.push_back(a.key);
  keys.insert(keys.end(), {"speed_mm_s", "seconds"});
  return keys;
}

// The one action of a step; nothing, and a complaint, where there is none or a second.
const ActionKey* action_of(const Table& step) {
  const ActionKey* found = nullptr;
  for (const ActionKey& a : kActions) {
    if (!step.has(a.key)) continue;
    if (found == nullptr) {
      found = &a;
      continue;
    }
    const Position p = step.at_key(found->key), q = step.at_key(a.key);
    const bool in_order = std::pair(p.line, p.column) < std::pair(q.line, q.column);
    const std::string_view first = in_order ? found->key : a.key;
    const std::string_view second = in_order ? a.key : found->key;
    step.findings().add(in_order ? q : p,
                        "a step has one action; this one has " + std::string(first) + " already",
                        "make " + std::string(second) + " a step of its own");
    return nullptr;
  }
  if (found == nullptr) step.need("feed_mm", "or another action; a step has exactly one");
  return found;
}

void read_move(const Table& step, const Machine& machine, Step& into) {
  static constexpr std::array<std::string_view, 3> axes{"x", "y", "z"};
  const auto move = step.table("move_mm", "move_mm", {axes.begin(), axes.end()});
  if (!move) return;
  for (std::size_t i = 0; i < axes.size(); ++i) {
    const std::string_view axis = axes[i];
    const Range travel = machine.travel_mm[i];
    if (!move->number(axis, {-1e6, 1e6}, into.move_mm[i])) continue;
    const double to = *into.move_mm[i];
    if (to < travel.low || to > travel.high) {
      move->findings().add(move->at(axis), std::string(axis) + " = " + text_of(to) +
                                               " is outside machine.travel_mm, which is " +
                                               text_of(travel.low) + " to " + text_of(travel.high));
    }
  }
  const bool none = std::none_of(axes.begin(), axes.end(), [&](auto a) { return move->has(a); });
  if (none) move->need("x", "or y, or z");
}

std::optional<Step> read_step(const toml::node& node, const Machine& machine,
                              Diagnostics& findings) {
  const toml::table* raw = node.as_table();
  if (raw == nullptr) {
    findings.add(position_of(node), "a step must be a table, not " + kind_of(node),
                 "such as { dwell_s = 1.5 }");
    return std::nullopt;
  }
  const Table step(*raw, "a step", step_keys(), findings);
  const ActionKey* a = action_of(step);
  if (a == nullptr) return std::nullopt;

  Step out;
  out.action = a->action;
  switch (a->action) {
    case Action::back:
    case Action::wait: {
      bool yes = true;
      if (step.flag(a->key, yes) && !yes) {
        findings.add(step.at(a->key), std::string(a->key) + " must be true",
                     "leave the step out instead");
      }
      break;
    }
    case Action::move:
      read_move(step, machine, out);
      break;
    case Action::gcode:
      step.name("gcode", out.gcode);
      break;
    default:
      step.number(a->key, a->limits, out.amount);
      break;
  }
  for (const std::string_view companion : {"speed_mm_s", "seconds"}) {
    if (!step.has(companion) || companion == a->companion) continue;
    findings.add(step.at_key(companion),
                 std::string(companion) + " does not go with " + std::string(a->key),
                 companion == "seconds" ? "it goes with gcode; a pause is dwell_s"
                                        : "it goes with feed_mm, lift_mm and move_mm");
  }
  step.number("speed_mm_s", kSpeed, out.speed_mm_s);
  step.number("seconds", kMachineSeconds, out.seconds);
  return out;
}

// Checks a template of [dialect]: its {placeholders} are known, and those it needs are there.
void check_template(const Table& dialect, std::string_view key, const std::string& text) {
  static constexpr std::array<std::string_view, 3> known{"tool", "heater", "temp"};
  const auto complain = [&](std::string message, std::string hint) {
    dialect.findings().add(dialect.at(key), std::string(key) + ' ' + std::move(message),
                           std::move(hint));
  };
  bool temp = false, which = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '}') return complain("has a } without its {", {});
    if (text[i] != '{') continue;
    const std::size_t end = text.find_first_of("{}", i + 1);
    if (end == std::string::npos || text[end] == '{') {
      return complain("has a { without its }", {});
    }
    const std::string word = text.substr(i + 1, end - i - 1);
    if (std::find(known.begin(), known.end(), word) == known.end()) {
      return complain("has an unknown placeholder " + quoted('{' + word + '}'),
                      suggest(word, known));
    }
    (word == "temp" ? temp : which) = true;
    i = end;
  }
  if (!temp) return complain("must contain {temp}", {});
  if (!which) return complain("must contain {tool} or {heater}", {});
}

}  // namespace

void read_steps(const Table& root, const Machine& machine, std::vector<Sequence>& into,
                StepPlaces& places) {
  const toml::table* steps = root.open_table("steps");
  if (steps == nullptr) return;
  Diagnostics& findings = root.findings();
  for (const auto& [key, node] : *steps) {
    const std::string name(key.str());
    if (name.empty()) findings.add(key.source().begin, "a step sequence must have a name");
    if (const auto why = why_unfit(name)) {
      findings.add(key.source().begin, "the name of a step sequence " + *why);
    }
    const toml::array* array = node.as_array();
    if (array == nullptr) {
      findings.add(position_of(node),
                   quoted(name) + " must be an array of steps, not " + kind_of(node),
                   "such as [ { dwell_s = 1.5 } ]");
      continue;
    }
    Sequence sequence{name, {}};
    for (const toml::node& element : *array) {
      const auto step = read_step(element, machine, findings);
      if (!step) continue;
      const toml::table& raw = *element.as_table();
      if (step->action == Action::temp) {
        places.temperatures[name].push_back({step->amount, position_of(*raw.get("temp_c"))});
      }
      if (step->action == Action::feed && step->amount > 0) {
        const toml::node& at = *raw.get(step->speed_mm_s ? "speed_mm_s" : "feed_mm");
        places.feeds[name].push_back({step->speed_mm_s, position_of(at)});
      }
      sequence.steps.push_back(*step);
    }
    into.push_back(std::move(sequence));
  }
}

void read_dialect(const Table& root, Dialect& into) {
  const auto dialect = root.table("dialect", "[dialect]",
                                  {"set", "wait", "temperature_index", "job_start", "job_end"});
  if (!dialect) return;
  const bool own_set = bool(dialect->fit_text("set", into.set));
  const bool own_wait = bool(dialect->fit_text("wait", into.wait));
  if (own_set) check_template(*dialect, "set", into.set);
  if (own_wait) check_template(*dialect, "wait", into.wait);
  const auto heater =
      choice<bool>(*dialect, "temperature_index", {{"tool", false}, {"heater", true}});
  if (heater) into.temperature_index_is_heater = *heater;
  if (into.temperature_index_is_heater) {
    // What the job's T means there, ours has to mean too.
    if (!own_set) into.set = "M104 T{heater} S{temp}";
    if (!own_wait) into.wait = "M109 T{heater} S{temp}";
  }
  dialect->lines("job_start", into.job_start);
  dialect->lines("job_end", into.job_end);
}

}  // namespace forewarm::rules
