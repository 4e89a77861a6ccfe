// The marks that make a rewrite reversible. Writer, restore and check all go by this header.
//
//   ;forewarm 1 rules=<16 hex> original=<bytes>:<16 hex>    first line of a rewritten job
//   <command> ;fw+ <reason>                                  an inserted line
//   ;fw- <original line>                                     a disabled line
//
// Where filaments have moved to other tools:
//
//    ;fw+ mapped T0 to T3, T3 to T0                          second line: all that have
//   <line> ;fw+ mapped T0 to T3                              the line for the disabled one before
//   ; ;fw+ mapped T0 to T3, left out: T1 is in use there     likewise: a target, and no more
//   <wait> ;fw+ mapped T1, at 210 C as before                a target that neighbours have changed
//   ;<wait> ;fw+ mapped T1, at 210 C as before               likewise, but the plan's stands for it
//
// Hashes are XXH3, 64 bits, of the rule file's and of the original's bytes. A job may not hold such
// marks of its own: it is refused, so that a mark always means what it says.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace forewarm::rewrite {

inline constexpr std::string_view kHeaderStart = ";forewarm ";
inline constexpr std::string_view kInserted = " ;fw+ ";
inline constexpr std::string_view kDisabled = ";fw- ";
// How the reason of a line begins that is there because filaments have moved.
inline constexpr std::string_view kMapped = "mapped ";
// The reason of a sequence's line: this, the name, and kStepEnd; in that of a line that feeds for
// what has oozed, kMakesUp comes after it.
inline constexpr std::string_view kStep = "step ", kStepEnd = ": ", kMakesUp = ", makes up ";

struct Header {
  std::uint64_t rules = 0;
  std::uint64_t bytes = 0;
  std::uint64_t original = 0;
};

[[nodiscard]] std::string header_line(const Header& header);  // without line ending
// Nothing unless the whole line is a header of a version known here.
[[nodiscard]] std::optional<Header> read_header(std::string_view line);

// Where a mark may stand next, from `from` on: the place of its ';'. npos: there is none.
[[nodiscard]] std::size_t find_mark(std::string_view text, std::size_t from);

[[nodiscard]] inline bool is_inserted(std::string_view line) {
  // Few lines have a comment at all, and blanks are everywhere.
  const std::size_t comment = line.find(';');
  return comment != std::string_view::npos &&
         line.find(kInserted, comment > 0 ? comment - 1 : 0) != std::string_view::npos;
}
[[nodiscard]] inline bool is_disabled(std::string_view line) {
  return line.substr(0, kDisabled.size()) == kDisabled;
}

}  // namespace forewarm::rewrite
