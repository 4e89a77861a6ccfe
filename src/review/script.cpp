#include "review/script.h"

#include <algorithm>
#include <charconv>
#include <optional>

#include "plan/echoes.h"
#include "rewrite/marks.h"

namespace forewarm::review {

namespace {

using record::kEchoStart;

// Of an inserted line.
std::string_view reason_of(std::string_view line) {
  const std::size_t mark = line.find(rewrite::kInserted);
  return mark == std::string_view::npos ? std::string_view()
                                        : line.substr(mark + rewrite::kInserted.size());
}

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
  const std::size_t at = command.find(kEchoStart);
  if (at == std::string_view::npos) return std::nullopt;
  const auto said = record::said_in(command.substr(at));
  if (!said) return std::nullopt;
  return Say{.what = said->what, .number = said->number};
}

// Whether it says that the echo is on time.
bool says_rests(std::string_view reason) {
  if (!reason.starts_with(plan::kChangeEcho)) return false;
  const std::size_t at = reason.find(plan::kEarlyBy);
  if (at == std::string_view::npos) return true;
  double early_s = kLittleS + 1;
  const char* const begin = reason.data() + at + plan::kEarlyBy.size();
  std::from_chars(begin, reason.data() + reason.size(), early_s);
  return early_s <= kLittleS;
}

}  // namespace

void Script::own_lines(std::string_view bytes, std::uint64_t offset) {
  std::size_t from = 0;
  for (std::size_t at = bytes.find(kEchoStart); at != std::string_view::npos;) {
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
    at = bytes.find(kEchoStart, end);
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
  const std::string_view reason = reason_of(bytes);
  moved_ = moved_ || reason.starts_with(rewrite::kMapped);
  if (auto say = say_of(command)) {
    say->offset = offset;
    say->rests = waits_for_motion(last_command_) || says_rests(reason);
    says_.push_back(*say);
    return;
  }
  if (reason.starts_with(rewrite::kStep)) {
    if (steps_.empty() || steps_.back().to != offset) steps_.push_back({offset, offset});
    steps_.back().to = offset + bytes.size();
  }
  if (!command.empty()) last_command_ = command;
}

}  // namespace forewarm::review
