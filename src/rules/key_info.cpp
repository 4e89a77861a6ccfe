#include "rules/key_info.h"

#include <algorithm>
#include <utility>

#include "rules/value_text.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr std::array<std::pair<std::string_view, std::string_view>, 13> kUnits{{
    // Longer endings first.
    {"_cost_per_kwh", "currency per kilowatt-hour"},
    {"_cost_per_h", "currency per hour"},
    {"_cost", "currency"},
    {"_mm_per_min", "millimetres a minute"},
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

std::string one_of(std::span<const Word> words) {
  std::string out;
  for (const Word& word : words) out += (out.empty() ? "one of " : ", ") + toml_string(word.name);
  return out;
}

template <class S>
struct Describer {
  KeyInfo& info;

  void operator()(const Number<S>& n) {
    info.type = "number";
    info.limits = n.limits;
    info.range = n.limits.range();
    if (!n.word.empty()) info.range += ", or " + toml_string(n.word);
  }
  void operator()(const Index<S>&) {
    info.type = "whole number";
    info.limits = Limits{0, kMaxIndex};
    info.range = info.limits->range();
  }
  void operator()(const Flag<S>&) { info.type = "true or false"; }
  void operator()(const Text<S>& text) {
    info.type = "string";
    if (text.rule == TextRule::sequence) info.range = "a sequence of [steps]";
    if (text.rule == TextRule::pattern) info.range = "an RE2 pattern";
  }
  void operator()(const Choice<S>& choice) {
    info.type = "string";
    info.words = choice.words;
    info.range = one_of(choice.words);
  }
  void operator()(const Lines<S>& lines) {
    info.type = "array of strings";
    if (lines.patterns) info.range = "RE2 patterns";
  }
  void operator()(const LineOrLines<S>&) { info.type = "string, or array of strings"; }
  void operator()(const PerAxis<S>& values) {
    info.type = "table of numbers for x, y, z and e";
    info.limits = values.limits;
    info.range = values.limits.range();
  }
  void operator()(const Spans<S>&) {
    const Limits limits{Range().low, Range().high};
    info.type = "table of arrays [lowest, highest]";
    info.limits = limits;
    info.range = limits.range();
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
  if (!key.required) {
    info.default_text = key.derived.empty() ? std::visit(ValueText<S>{S(), Rules()}, key.value)
                                            : std::string(key.derived);
  }
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
