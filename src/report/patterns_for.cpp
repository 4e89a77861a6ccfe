#include "report/patterns_for.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "job/unknown_commands.h"
#include "rules/words.h"

namespace forewarm::report {

namespace {

bool digit(char c) { return c >= '0' && c <= '9'; }
bool blank(char c) { return c == ' ' || c == '\t'; }
bool word_character(char c) {
  return digit(c) || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

std::string escaped(char c) {
  const bool special = std::string_view("\\.+*?()[]{}|^$").find(c) != std::string_view::npos;
  return special ? std::string{'\\', c} : std::string(1, c);
}

constexpr const char* kNumbered = "^N\\d+\\s*";

// A G or M command, whose number belongs to it.
bool is_code(std::string_view text) {
  return text.size() > 1 && std::string_view("GMgm").find(text[0]) != std::string_view::npos &&
         digit(text[1]);
}

}  // namespace

std::vector<UnknownWord> by_first_word(std::span<const job::UnknownCommand> commands) {
  std::map<std::string_view, UnknownWord> by_word;
  for (const job::UnknownCommand& command : commands) {
    const std::string_view word = first_word(command.shape);
    UnknownWord& w = by_word[word];
    w.word = word;
    w.count += command.count;
    if (w.first == nullptr || command.line < w.first->line) w.first = &command;
    if (w.most == nullptr) w.most = &command;
  }
  std::vector<UnknownWord> out;
  for (const auto& [word, w] : by_word) out.push_back(w);
  std::sort(out.begin(), out.end(), [](const UnknownWord& a, const UnknownWord& b) {
    return std::pair(b.count, a.first->line) < std::pair(a.count, b.first->line);
  });
  return out;
}

std::string_view first_word(std::string_view shape) {
  return shape.substr(0, shape.find_first_of(" \t#=(\""));
}

std::string pattern_for(std::string_view text, std::span<const std::string> groups, bool numbered) {
  std::string out = numbered ? kNumbered : "^";
  std::string last = out;  // up to the last group
  std::size_t i = 0;
  if (is_code(text)) {
    while (i == 0 || (i < text.size() && (digit(text[i]) || text[i] == '.'))) {
      out += escaped(text[i++]);
    }
  }
  for (std::size_t number = 0; i < text.size();) {
    if (blank(text[i])) {
      while (i < text.size() && blank(text[i])) ++i;
      out += "\\s+";
    } else if (digit(text[i])) {
      i = job::past_number(text, i);
      const std::string group = number < groups.size() ? groups[number] : std::string();
      ++number;
      if (group.empty()) {
        out += "[\\d.]+";
      } else {
        out += "(?P<" + group + (group == "temp" ? ">[\\d.]+)" : ">\\d+)");
        last = out;
      }
    } else {
      out += escaped(text[i++]);
    }
  }
  const bool some = std::any_of(groups.begin(), groups.end(),
                                [](const std::string& group) { return !group.empty(); });
  if (some) return rules::toml_pattern(last);
  if (!text.empty() && word_character(text.back())) out += "\\b";
  return rules::toml_pattern(out);
}

std::string pattern_for_word(std::string_view text, std::string_view word, bool numbered) {
  std::string out = numbered ? kNumbered : "^";
  const std::string_view own = text.substr(0, word.size());  // in the case that the job has
  for (const char c : own) out += escaped(c);
  const bool ends = own.size() == text.size() || !word_character(text[own.size()]);
  if (ends && !own.empty() && word_character(own.back())) out += "\\b";
  return rules::toml_pattern(out);
}

std::string pattern_for_comment(std::string_view comment) {
  const std::size_t end = std::min(comment.find_first_of("0123456789"), comment.size());
  std::string out = "^";
  for (const char c : comment.substr(0, end)) out += escaped(c);
  if (end < comment.size()) out += "\\d+";
  return rules::toml_pattern(out);
}

std::string times(std::uint64_t count) {
  return count == 1 ? "once" : fmt::format("{} times", count);
}

}  // namespace forewarm::report
