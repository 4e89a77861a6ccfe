#include "review/script.h"

#include <algorithm>
#include <charconv>
#include <optional>

namespace forewarm::review {

namespace {

constexpr std::string_view kEcho = "forewarm ";
constexpr std::string_view kStepMark = " ;fw+ step ";
constexpr std::string_view kMovedMark = " ;fw+ mapped ";
constexpr std::string_view kEchoMark = " ;fw+ echo: change ";
constexpr std::string_view kEarly = "may be up to ";

std::string_view command_of(std::string_view line) {
  line = line.substr(0, line.find_first_of(";\r\n"));
  while (!line.empty() && (line.back() == ' ' || line.back() == '\t')) line.remove_suffix(1);
  while (!line.empty() && (line.front() == ' ' || line.front() == '\t')) line.remove_prefix(1);
  return line;
}

// Without the number of a numbered line.
std::string_view first_word(std::string_view command) {
  if (!command.empty() && command.front() == 'N') {
    const std::size_t blank = command.find(' ');
    command = blank == std::string_view::npos ? std::string_view() : command.substr(blank + 1);
  }
  return command.substr(0, command.find_first_of(" *"));
}

bool waits_for_motion(std::string_view command) {
  const std::string_view word = first_word(command);
  for (const std::string_view w : {"M400", "M109", "M190", "G4", "G28"}) {
    if (word == w) return true;
  }
  return word.size() > 1 && word.front() == 'T' && word[1] >= '0' && word[1] <= '9';
}

std::optional<Say> say_of(std::string_view command) {
  const std::size_t at = command.find(kEcho);
  if (at == std::string_view::npos) return std::nullopt;
  Say say;
  const char* const begin = command.data() + at + kEcho.size();
  const char* const end = command.data() + command.size();
  const auto number = std::from_chars(begin, end, say.number);
  if (number.ec != std::errc() || number.ptr == end || *number.ptr != ' ') return std::nullopt;
  std::string_view word(number.ptr + 1, std::size_t(end - number.ptr - 1));
  std::size_t length = 0;
  while (length < word.size() && word[length] >= 'a' && word[length] <= 'z') ++length;
  const auto what = record::what_of(word.substr(0, length));
  if (!what) return std::nullopt;
  say.what = *what;
  return say;
}

// Whether its mark says that it is on time.
bool mark_says_rests(std::string_view line) {
  if (line.find(kEchoMark) == std::string_view::npos) return false;
  const std::size_t at = line.find(kEarly);
  if (at == std::string_view::npos) return true;
  double early_s = kLittleS + 1;
  const char* const begin = line.data() + at + kEarly.size();
  std::from_chars(begin, line.data() + line.size(), early_s);
  return early_s <= kLittleS;
}

}  // namespace

void Script::own_lines(std::string_view bytes, std::uint64_t offset) {
  std::size_t from = 0;
  for (std::size_t at = bytes.find(kEcho); at != std::string_view::npos;) {
    const std::size_t before = bytes.rfind('\n', at);
    const std::size_t begin = before == std::string_view::npos ? 0 : before + 1;
    const std::size_t end = std::min(bytes.find('\n', at), bytes.size());
    if (auto say = say_of(command_of(bytes.substr(begin, end - begin)))) {
      follow(bytes.substr(from, begin - from));
      say->offset = offset + begin;
      say->rests = waits_for_motion(last_command_);
      says_.push_back(*say);
      from = end;
    }
    at = bytes.find(kEcho, end);
  }
  follow(bytes.substr(from));
}

// Only the last command may stand before an echo.
void Script::follow(std::string_view bytes) {
  while (!bytes.empty()) {
    const std::size_t before =
        bytes.size() > 1 ? bytes.rfind('\n', bytes.size() - 2) : std::string_view::npos;
    const std::size_t begin = before == std::string_view::npos ? 0 : before + 1;
    const std::string_view command = command_of(bytes.substr(begin));
    if (!command.empty()) {
      last_command_ = command;
      return;
    }
    bytes = bytes.substr(0, begin);
  }
}

void Script::lines(std::string_view bytes, std::uint64_t offset, bool inserted) {
  if (!inserted) {
    own_lines(bytes, offset);
    return;
  }
  const std::string_view command = command_of(bytes);
  moved_ = moved_ || bytes.find(kMovedMark) != std::string_view::npos;
  if (auto say = say_of(command)) {
    say->offset = offset;
    say->rests = waits_for_motion(last_command_) || mark_says_rests(bytes);
    says_.push_back(*say);
    return;
  }
  if (bytes.find(kStepMark) != std::string_view::npos) {
    if (steps_.empty() || steps_.back().to != offset) steps_.push_back({offset, offset});
    steps_.back().to = offset + bytes.size();
  }
  if (!command.empty()) last_command_ = command;
}

}  // namespace forewarm::review
