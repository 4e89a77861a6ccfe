// Applies a unified diff as strictly as it can be: every line number, count and context line has to
// be right. Written from the format's description alone, so that it can judge rewrite/diff.h.
#pragma once

#include <charconv>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace forewarm::fuzz {

struct Applied {
  std::string text;
  std::string wrong;  // what does not fit; empty if all does
};

namespace diff_detail {

// Lines with their line feeds; the last may lack one.
inline std::vector<std::string_view> lines_of(std::string_view text) {
  std::vector<std::string_view> out;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    out.push_back(text.substr(0, end == std::string_view::npos ? end : end + 1));
    text.remove_prefix(out.back().size());
  }
  return out;
}

inline bool take(std::string_view& text, std::string_view prefix) {
  if (text.substr(0, prefix.size()) != prefix) return false;
  text.remove_prefix(prefix.size());
  return true;
}

inline std::optional<std::size_t> take_number(std::string_view& text) {
  std::size_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{}) return std::nullopt;
  text.remove_prefix(std::size_t(end - text.data()));
  return value;
}

struct Range {
  std::size_t first = 0;  // from 0
  std::size_t count = 1;
};

inline std::optional<Range> take_range(std::string_view& text) {
  Range r;
  const auto start = take_number(text);
  if (!start) return std::nullopt;
  if (take(text, ",")) {
    const auto count = take_number(text);
    if (!count || *count == 1) return std::nullopt;  // 1 is left out
    r.count = *count;
  }
  if (r.count > 0 && *start == 0) return std::nullopt;
  r.first = r.count > 0 ? *start - 1 : *start;  // an empty range names the line before it
  return r;
}

}  // namespace diff_detail

inline Applied apply_diff(std::string_view original, std::string_view diff) {
  using namespace diff_detail;
  Applied out;
  const auto wrong = [&](std::string what) {
    out.wrong = std::move(what);
    return out;
  };
  if (diff.empty()) return {std::string(original), ""};
  const auto from = lines_of(original);
  const auto script = lines_of(diff);
  if (script.size() < 3 || script[0].substr(0, 4) != "--- " || script[1].substr(0, 4) != "+++ ") {
    return wrong("no names");
  }
  std::size_t at = 0;     // of `from`
  std::size_t lines = 0;  // of the result
  bool open = false;      // the result ends without a line feed
  const auto put = [&](std::string_view line) {
    if (open) return false;
    out.text += line;
    ++lines;
    open = line.empty() || line.back() != '\n';
    return true;
  };
  for (std::size_t i = 2; i < script.size();) {
    std::string_view head = script[i++];
    std::optional<Range> old_lines;
    std::optional<Range> new_lines;
    if (take(head, "@@ -")) old_lines = take_range(head);
    if (take(head, " +")) new_lines = take_range(head);
    if (!old_lines || !new_lines || head != " @@\n") return wrong("no hunk's head");
    if (old_lines->first < at || old_lines->first > from.size()) return wrong("hunks overlap");
    while (at < old_lines->first) {
      if (!put(from[at++])) return wrong("a line after the last");
    }
    if (new_lines->first != lines) return wrong("the new line number is wrong");
    std::size_t old_left = old_lines->count;
    std::size_t new_left = new_lines->count;
    if (old_left + new_left == 0) return wrong("an empty hunk");
    while (old_left + new_left > 0) {
      if (i == script.size()) return wrong("a hunk ends early");
      const char sign = script[i][0];
      std::string_view line = script[i++].substr(1);
      if (line.empty() || line.back() != '\n') return wrong("a diff's line without an end");
      if (i < script.size() && script[i][0] == '\\') {
        if (script[i] != "\\ No newline at end of file\n") return wrong("an unknown remark");
        ++i;
        line.remove_suffix(1);
      }
      if (sign != ' ' && sign != '-' && sign != '+') return wrong("an unknown sign");
      if (sign != '+') {
        if (old_left-- == 0 || at == from.size() || from[at] != line) return wrong("the old text");
        ++at;
      }
      if (sign != '-') {
        if (new_left-- == 0 || !put(line)) return wrong("the new text");
      }
    }
  }
  while (at < from.size()) {
    if (!put(from[at++])) return wrong("a line after the last");
  }
  return out;
}

}  // namespace forewarm::fuzz
