#include "rules/key_info.h"

#include <algorithm>
#include <utility>

#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr std::array<std::pair<std::string_view, std::string_view>, 12> kUnits{{
    // Longer endings first.
    {"_cost_per_kwh", "currency per kilowatt-hour"},
    {"_cost_per_h", "currency per hour"},
    {"_cost", "currency"},
    {"_mm3_s", "cubic millimetres a second"},
    {"_g_cm3", "grams per cubic centimetre"},
    {"_mm_s2", "millimetres per second squared"},
    {"_mm_s", "millimetres a second"},
    {"_mm3", "cubic millimetres"},
    {"_mm", "millimetres"},
    {"_s", "seconds"},
    {"_c", "degrees Celsius"},
    {"_w", "watts"},
}};

std::string in_quotes(std::string_view text) { return '"' + std::string(text) + '"'; }

std::string one_of(std::span<const Word> words) {
  std::string out;
  for (const Word& word : words) out += (out.empty() ? "one of " : ", ") + in_quotes(word.name);
  return out;
}

template <class S>
struct Describer {
  KeyInfo& info;
  const S fresh = {};  // with the defaults

  void operator()(const Number<S>& n) {
    info.type = "number";
    info.limits = n.limits;
    info.range = n.limits.range();
    if (!n.word.empty()) info.range += ", or " + in_quotes(n.word);
    const auto value = n.get(fresh);
    info.default_text = value ? text_of(*value) : "none";
  }
  void operator()(const Index<S>& index) {
    info.type = "whole number";
    info.limits = Limits{0, kMaxIndex};
    info.range = info.limits->range();
    const std::optional<int> value =
        std::visit([&](auto field) { return std::optional<int>(fresh.*field); }, index.field);
    info.default_text = value ? std::to_string(*value) : "none";
  }
  void operator()(const Flag<S>& flag) {
    info.type = "true or false";
    info.default_text = fresh.*flag.field ? "true" : "false";
  }
  void operator()(const Text<S>& text) {
    info.type = "string";
    const std::string& value = fresh.*text.field;
    info.default_text = value.empty() ? "none" : in_quotes(value);
    if (text.rule == TextRule::sequence) info.range = "a sequence of [steps]";
    if (text.rule == TextRule::pattern) info.range = "an RE2 pattern";
  }
  void operator()(const Choice<S>& choice) {
    info.type = "string";
    info.words = choice.words;
    info.range = one_of(choice.words);
    for (const Word& word : choice.words) {
      if (word.value == choice.get(fresh)) info.default_text = in_quotes(word.name);
    }
  }
  void operator()(const Lines<S>& lines) {
    info.type = "array of strings";
    if (lines.patterns) info.range = "RE2 patterns";
    info.default_text = "none";
  }
  void operator()(const LineOrLines<S>&) {
    info.type = "string, or array of strings";
    info.default_text = "none";
  }
  void operator()(const PerAxis<S>& values) {
    info.type = "table of numbers for x, y, z and e";
    info.limits = values.limits;
    info.range = values.limits.range();
    for (std::size_t i = 0; i < 4; ++i) {
      info.default_text += (i == 0 ? "{ " : ", ") + std::string(1, "xyze"[i]) + " = " +
                           text_of((fresh.*values.field)[i]);
    }
    info.default_text += " }";
  }
  void operator()(const Spans<S>&) {
    const Limits limits{Range().low, Range().high};
    info.type = "table of arrays [lowest, highest]";
    info.limits = limits;
    info.range = limits.range();
    info.default_text = "none";
  }
  void operator()(const Tools<S>&) {
    info.type = "array of whole numbers";
    info.limits = Limits{0, kMaxIndex};
    info.range = info.limits->range() + ", or \"seen\"";
  }
  void operator()(const PlaceList<S>&) {
    info.type = "array of whole numbers and strings";
    info.limits = Limits{0, kMaxIndex};
    info.range = "T numbers and names of toolheads";
    info.default_text = "none";
  }
  void operator()(const Version&) {
    info.type = "whole number";
    info.range = "always 1";
  }
  void operator()(const StepAction& action) {
    switch (action.takes) {
      case StepAction::Takes::number:
        info.type = "number";
        info.limits = action.limits;
        info.range = action.limits.range();
        break;
      case StepAction::Takes::true_only:
        info.type = "true";
        break;
      case StepAction::Takes::position:
        info.type = "table of numbers for x, y and z";
        info.limits = action.limits;
        info.range = action.limits.range();
        break;
      case StepAction::Takes::line:
        info.type = "string";
        break;
    }
  }
  void operator()(const Part&) { info.type = "table"; }
};

template <class S>
KeyInfo info_of(const Section<S>& section, const Key<S>& key) {
  KeyInfo info;
  info.section = &section;
  info.name = key.name;
  info.doc = key.doc;
  info.unit = unit_of(key.name);
  info.required = key.required;
  std::visit(Describer<S>{info}, key.value);
  if (!key.derived.empty()) info.default_text = key.derived;
  if (key.required) info.default_text.clear();
  info.example = std::string(key.name) + " = " +
                 (key.example.empty() ? info.default_text : std::string(key.example));
  return info;
}

}  // namespace

std::string_view unit_of(std::string_view key) {
  if (key == "seconds") return key;
  for (const auto& [ending, words] : kUnits) {
    if (key.ends_with(ending)) return words;
  }
  return {};
}

std::string KeyInfo::summary() const {
  std::string out = required ? "required" : "default " + default_text;
  if (!required && default_text.empty()) out.clear();
  if (!range.empty()) out += (out.empty() ? "" : ", ") + range;
  return out;
}

std::vector<KeyInfo> all_keys() {
  std::vector<KeyInfo> out;
  for_each_section([&](const auto& section) {
    for (const auto& key : section.keys) {
      const bool is_section =
          section.shape == SectionInfo::Shape::file && std::holds_alternative<Part>(key.value);
      if (!is_section) out.push_back(info_of(section, key));
    }
  });
  return out;
}

}  // namespace forewarm::rules
