// What a rule file might say of commands and comments that nobody knows: RE2 patterns for them, in
// TOML quotes.
//
// Contract: pure. Commands are without line number and comment, as of a job::UnknownCommand. Text
// of the job is quoted, so that it stands for itself, but may hold bytes that no rule file can:
// whoever shows a pattern calls clean(), and leaves out what that changes.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "job/job.h"

namespace forewarm::report {

// Commands that begin with one word.
struct UnknownWord {
  std::string_view word;  // "CHANGE_TO", "G28"
  std::uint64_t count = 0;
  const job::UnknownCommand* first = nullptr;  // in the job
  const job::UnknownCommand* most = nullptr;   // the most frequent
};
// By count, then by line. Lifetime: that of `commands`, which are in order of count.
[[nodiscard]] std::vector<UnknownWord> by_first_word(std::span<const job::UnknownCommand> commands);

// The first word of a command's shape.
[[nodiscard]] std::string_view first_word(std::string_view shape);

// For commands such as this, whose groups are given to its numbers in order: "tool", "heater",
// "temp", or empty for none. What follows the last group is left out.
[[nodiscard]] std::string pattern_for(std::string_view command, std::span<const std::string> groups,
                                      bool numbered);
// For all commands that begin with that word, in the case that this one has.
[[nodiscard]] std::string pattern_for_word(std::string_view command, std::string_view word,
                                           bool numbered);
// For comments such as this, up to its first number.
[[nodiscard]] std::string pattern_for_comment(std::string_view comment);

[[nodiscard]] std::string times(std::uint64_t count);  // "once", "3 times"

}  // namespace forewarm::report
