#include "rules/questions.h"

#include <algorithm>
#include <array>
#include <set>

#include "rules/keys.h"
#include "rules/path_tables.h"
#include "rules/reader.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr std::array kQuestions{
    Question{"machine", "What is the machine called?"},
    Question{"toolheads",
             "Which T numbers does each toolhead serve? Several: a feeder exchanges its filament"},
    Question{"names", "What are the toolheads called, in that order?"},
    Question{"power_w", "How many watts does each heater draw? It is printed on it"},
    Question{"max_c", "How hot may each get at most, in C?"},
    Question{"park_s", "How many seconds does it take to put a toolhead away?"},
    Question{"pick_s", "... and to pick one up?"},
    Question{"exchange_s", "... and for a feeder to exchange the filament?"},
    Question{"standby_c", "At what temperature does a parked toolhead wait, in C?"},
    Question{"off_over_s",
             "How many seconds may a gap last before the heater is switched off in it?"},
};

template <class S, class Member>
Limits limits_of(const Section<S>& section, Member member) {
  return section.of(member).number()->limits;
}

// "0 | 1 2 3" as TOML. Quotes that names need are added.
std::string as_toml(std::string_view key, std::string_view typed) {
  if (typed.find_first_of("[\"'") != std::string_view::npos) return std::string(typed);
  const auto elements = [&](std::string_view text, bool words) {
    std::string out;
    while (!text.empty()) {
      const std::size_t end = std::min(text.find_first_of(" \t,"), text.size());
      if (end > 0) {
        const std::string one(text.substr(0, end));
        out += (out.empty() ? "" : ", ") + (words ? '"' + one + '"' : one);
      }
      text.remove_prefix(std::min(text.size(), end + 1));
    }
    return out;
  };
  if (key == "names") return '[' + elements(typed, true) + ']';
  if (key == "power_w" || key == "max_c") return '[' + elements(typed, false) + ']';
  if (key != "toolheads") return std::string(typed);
  std::string out = "[";
  for (std::string_view rest = typed;;) {
    const std::size_t end = std::min(rest.find_first_of("|;"), rest.size());
    out += (out.size() == 1 ? "[" : ", [") + elements(rest.substr(0, end), false) + ']';
    if (end == rest.size()) return out + ']';
    rest.remove_prefix(end + 1);
  }
}

class Reader {
 public:
  Reader(Diagnostics& diagnostics, Answers& into) : diagnostics_(diagnostics), into_(into) {}

  // REQUIRES: `key` is that of a question.
  void read(std::string_view key, const toml::node& node) {
    if (key == "machine") return text(node, key, into_.machine);
    if (key == "toolheads") return toolheads(node);
    if (key == "names") return names(node);
    if (key == "power_w") {
      return numbers(node, key, limits_of(sections::heater, &thermal::Hotend::power_w),
                     into_.power_w);
    }
    if (key == "max_c") {
      return numbers(node, key, limits_of(sections::heater, &Toolhead::max_c), into_.max_c);
    }
    if (key == "park_s") {
      return number(node, key, limits_of(sections::toolhead, &Toolhead::park_s), into_.park_s);
    }
    if (key == "pick_s") {
      return number(node, key, limits_of(sections::toolhead, &Toolhead::pick_s), into_.pick_s);
    }
    if (key == "exchange_s") {
      return number(node, key, limits_of(sections::toolhead, &Toolhead::exchange_s),
                    into_.exchange_s);
    }
    if (key == "standby_c") {
      return number(node, key, limits_of(sections::material, &Filament::standby_c),
                    into_.standby_c);
    }
    number(node, key, limits_of(sections::gap, &GapSettings::off_over_s), into_.off_over_s);
  }

  // What must hold between answers; each that is there has a place.
  void check(const toml::table& table) {
    const auto count = [&](const char* key, std::size_t answers, bool one_for_all) {
      if (answers == into_.toolheads.size() || (one_for_all && answers == 1)) return;
      const toml::node* node = table.get(key);
      if (node == nullptr) node = table.get("toolheads");
      diagnostics_.add(node == nullptr ? Position{1, 1} : position_of(*node),
                       std::to_string(answers) + " values of " + key + " for " +
                           std::to_string(into_.toolheads.size()) + " toolheads");
    };
    if (!into_.names.empty()) count("names", into_.names.size(), false);
    count("power_w", into_.power_w.size(), true);
    count("max_c", into_.max_c.size(), true);
  }

 private:
  void text(const toml::node& node, std::string_view key, std::string& into) {
    const auto* word = node.as_string();
    if (word == nullptr) {
      return diagnostics_.add(position_of(node),
                              std::string(key) + " must be a string, not " + kind_of(node));
    }
    const auto why = why_unfit(word->get());
    if (why || word->get().empty()) {
      return diagnostics_.add(position_of(node),
                              std::string(key) + ' ' + why.value_or("must not be empty"));
    }
    into = word->get();
  }

  void number(const toml::node& node, std::string_view key, const Limits& limits, double& into) {
    if (const auto value = number_in(node, key, limits, diagnostics_)) into = *value;
  }

  void numbers(const toml::node& node, std::string_view key, const Limits& limits,
               std::vector<double>& into) {
    std::vector<double> out;
    const auto take = [&](const toml::node& one) {
      if (const auto value = number_in(one, key, limits, diagnostics_)) out.push_back(*value);
    };
    if (const toml::array* all = node.as_array()) {
      if (all->empty()) diagnostics_.add(position_of(node), std::string(key) + " has no value");
      for (const toml::node& one : *all) take(one);
    } else {
      take(node);
    }
    if (!diagnostics_.any()) into = std::move(out);
  }

  void names(const toml::node& node) {
    const toml::array* all = node.as_array();
    if (all == nullptr) {
      return diagnostics_.add(position_of(node),
                              "names must be an array of strings, not " + kind_of(node));
    }
    std::vector<std::string> out;
    for (const toml::node& one : *all) {
      std::string name;
      text(one, "a name", name);
      if (std::find(out.begin(), out.end(), name) != out.end()) {
        diagnostics_.add(position_of(one), "there is a toolhead " + quoted(name) + " already");
      }
      out.push_back(std::move(name));
    }
    if (!diagnostics_.any()) into_.names = std::move(out);
  }

  void toolheads(const toml::node& node) {
    const std::string form = "such as [[0], [1, 2, 3]]: a feeder serves the second";
    const toml::array* all = node.as_array();
    if (all == nullptr || all->empty()) {
      return diagnostics_.add(position_of(node),
                              "toolheads must be an array of arrays of T numbers", form);
    }
    std::vector<std::vector<int>> out;
    std::set<int> seen;
    for (const toml::node& one : *all) {
      const toml::array* tools = one.as_array();
      if (tools == nullptr || tools->empty()) {
        return diagnostics_.add(position_of(one), "a toolhead serves one T number at least", form);
      }
      out.emplace_back();
      for (const toml::node& tool : *tools) {
        const auto value = index_in(tool, "a tool", diagnostics_);
        if (!value) continue;
        if (!seen.insert(*value).second) {
          diagnostics_.add(position_of(tool),
                           "T" + std::to_string(*value) + " is that of two toolheads");
        }
        out.back().push_back(*value);
      }
    }
    if (!diagnostics_.any()) into_.toolheads = std::move(out);
  }

  Diagnostics& diagnostics_;
  Answers& into_;
};

// Where there are other toolheads, what was said of each is no longer known.
void forget_each(Answers& answers) {
  answers.names.clear();
  answers.power_w.resize(1);
  answers.max_c.resize(1);
}

std::vector<std::string_view> keys() {
  std::vector<std::string_view> out;
  for (const Question& q : kQuestions) out.push_back(q.key);
  return out;
}

std::string list_text(const std::vector<double>& all) {
  std::string out;
  for (const double value : all) out += (out.empty() ? "" : " ") + text_of(value);
  return out;
}

}  // namespace

std::string Answers::name(std::size_t i) const {
  return i < names.size() ? names[i] : 'T' + std::to_string(toolheads[i].front());
}

std::span<const Question> questions() { return kQuestions; }

std::string answer_text(const Answers& answers, std::string_view key) {
  std::string out;
  if (key == "machine") return answers.machine;
  if (key == "toolheads") {
    for (const auto& tools : answers.toolheads) {
      out += out.empty() ? "" : " |";
      for (const int tool : tools) out += (out.empty() ? "" : " ") + std::to_string(tool);
    }
    return out;
  }
  if (key == "names") {
    for (std::size_t i = 0; i < answers.toolheads.size(); ++i) {
      out += (out.empty() ? "" : " ") + answers.name(i);
    }
    return out;
  }
  if (key == "power_w") return list_text(answers.power_w);
  if (key == "max_c") return list_text(answers.max_c);
  if (key == "park_s") return text_of(answers.park_s);
  if (key == "pick_s") return text_of(answers.pick_s);
  if (key == "exchange_s") return text_of(answers.exchange_s);
  if (key == "standby_c") return text_of(answers.standby_c);
  return text_of(answers.off_over_s);
}

Status answer(std::string_view key, std::string_view typed, Answers& into) {
  Diagnostics diagnostics({}, {});
  Answers out = into;
  const toml::table value = value_of(as_toml(key, typed));
  Reader reader(diagnostics, out);
  reader.read(key, *value.get("v"));
  if (key == "toolheads" && out.toolheads.size() != into.toolheads.size()) forget_each(out);
  if (!diagnostics.any()) reader.check(value);
  if (!diagnostics.any()) {
    into = std::move(out);
    return success();
  }
  const Error e = diagnostics.first();
  return Error{Error::Kind::usage, e.message, {}, 0, 0, {}, e.hint};
}

Result<Answers> answers_in(std::string_view text, const std::string& name,
                           const Answers& otherwise) {
  Diagnostics diagnostics(text, name);
  Answers out = otherwise;
  if (const auto at = too_deep(text)) {
    diagnostics.add(*at, "nested too deeply for a file of answers");
  } else {
    try {
      const toml::table table = toml::parse(text);
      const std::vector<std::string_view> known = keys();
      Reader reader(diagnostics, out);
      for (const auto& [key, node] : table) {
        if (std::find(known.begin(), known.end(), key.str()) == known.end()) {
          diagnostics.add(key.source().begin, "no question is called " + quoted(key.str()),
                          suggest(key.str(), known));
        } else {
          reader.read(key.str(), node);
        }
      }
      if (out.toolheads.size() != otherwise.toolheads.size()) {
        Answers fresh = out;
        forget_each(fresh);
        if (!table.contains("names")) out.names = fresh.names;
        if (!table.contains("power_w")) out.power_w = fresh.power_w;
        if (!table.contains("max_c")) out.max_c = fresh.max_c;
      }
      if (!diagnostics.any()) reader.check(table);
    } catch (const toml::parse_error& e) {
      diagnostics.add(e.source().begin, printable(e.description(), 400));
    }
  }
  if (!diagnostics.any()) return out;
  Error e = diagnostics.first();
  e.kind = Error::Kind::usage;
  return e;
}

}  // namespace forewarm::rules
