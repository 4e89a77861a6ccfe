// The value of a key as written in TOML. Internal to rules/.
//
// Of a field that may be empty and is: "none".
#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "rules/keys.h"
#include "rules/words.h"

namespace forewarm::rules {

template <class List, class Write>
std::string array_of(const List& list, Write write) {
  std::string out = "[";
  for (const auto& element : list) out += (out.size() == 1 ? "" : ", ") + write(element);
  return out + ']';
}

// To visit a key's value with. `rules` are those that have `from`: places are named by them.
template <class S>
struct ValueText {
  const S& from;
  const Rules& rules;

  std::string operator()(const Number<S>& n) const {
    if (n.word_flag != nullptr && from.*n.word_flag) return toml_string(n.word);
    const auto value = n.get(from);
    return value ? text_of(*value) : "none";
  }
  std::string operator()(const Index<S>& index) const {
    const std::optional<int> value =
        std::visit([&](auto field) { return std::optional<int>(from.*field); }, index.field);
    return value ? std::to_string(*value) : "none";
  }
  std::string operator()(const Flag<S>& flag) const { return from.*flag.field ? "true" : "false"; }
  std::string operator()(const Text<S>& text) const {
    const std::string& value = from.*text.field;
    if (value.empty()) return "none";
    return text.rule == TextRule::pattern ? toml_pattern(value) : toml_string(value);
  }
  std::string operator()(const Choice<S>& choice) const {
    for (const Word& word : choice.words) {
      if (word.value == choice.get(from)) return toml_string(word.name);
    }
    return "none";
  }
  std::string operator()(const Lines<S>& lines) const {
    return lines_text(from.*lines.field, lines.patterns);
  }
  std::string operator()(const LineOrLines<S>& lines) const {
    return lines_text(from.*lines.field, false);
  }
  std::string operator()(const PerAxis<S>& values) const {
    std::string out = "{ ";
    for (std::size_t i = 0; i < 4; ++i) {
      out += (i == 0 ? "" : ", ") + std::string(1, "xyze"[i]) + " = " +
             text_of((from.*values.field)[i]);
    }
    return out + " }";
  }
  std::string operator()(const Spans<S>& spans) const {
    return std::visit([&](auto field) { return spans_text(from.*field); }, spans.field);
  }
  std::string operator()(const Tools<S>& tools) const {
    if (rules.toolhead_per_tool_seen) return "\"seen\"";
    return array_of(from.*tools.field, [](int tool) { return std::to_string(tool); });
  }
  std::string operator()(const PlaceList<S>& list) const {
    return std::visit([&](auto field) { return places_text(from.*field); }, list.field);
  }
  std::string operator()(const Version&) const { return "1"; }
  template <class Other>
  std::string operator()(const Other&) const {
    return {};
  }

 private:
  static std::string lines_text(const std::vector<std::string>& lines, bool patterns) {
    return lines.empty() ? "none" : array_of(lines, patterns ? toml_pattern : toml_string);
  }
  static std::string spans_text(const std::array<Range, 3>& spans) {
    return ranges_text(std::span(spans));
  }
  static std::string spans_text(const std::optional<std::array<Range, 2>>& spans) {
    return spans ? ranges_text(std::span(*spans)) : "none";
  }
  static std::string ranges_text(std::span<const Range> ranges) {
    std::string out;
    for (std::size_t i = 0; i < ranges.size(); ++i) {
      const Range& r = ranges[i];
      if (r.low == Range().low && r.high == Range().high) continue;  // not bounded
      out += (out.empty() ? "{ " : ", ") + std::string(1, "xyz"[i]) + " = [" + text_of(r.low) +
             ", " + text_of(r.high) + ']';
    }
    return out.empty() ? "none" : out + " }";
  }
  [[nodiscard]] std::string places_text(const std::optional<Places>& places) const {
    return places ? places_text(*places) : "none";
  }
  [[nodiscard]] std::string places_text(const Places& places) const {
    if (places.empty()) return "none";
    std::vector<std::string> all;
    for (const int tool : places.tools) all.push_back(std::to_string(tool));
    for (const std::size_t head : places.heads)
      all.push_back(toml_string(rules.toolheads[head].name));
    return array_of(all, [](const std::string& text) { return text; });
  }
};

}  // namespace forewarm::rules
