// One line of G-code as words.
//
// Grammar: NISTIR 6556 section 3.3 (spaces and case mean nothing outside comments, `/` block
// delete, `N` line number, `( )` comments, numbers without exponent), with the RepRap convention
// where the two differ: `;` comments, `*` checksum (XOR of all bytes before it), letters without a
// number as flags (`G28 X Y`), quoted strings, commands whose rest is free text (M117 ...), and
// extended commands that begin with a name (`NAME KEY=VALUE`), which are not words at all.
//
// A Words object is meant to be reused: parse() overwrites it. Views point into the parsed text.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <string_view>

namespace forewarm::gcode {

struct Word {
  char letter = 0;   // upper case
  double value = 0;  // NaN for a letter without a number
};

enum class LineKind : std::uint8_t {
  blank,    // nothing, or only comments, or block-deleted: a machine does nothing
  words,    // letters with numbers
  named,    // an extended command: `name`
  unknown,  // neither; left alone
};

struct Words {
  static constexpr std::size_t kMost = 48;  // more words than this on a line: `unknown`

  LineKind kind = LineKind::blank;
  bool block_deleted = false;
  bool numbered = false;
  bool has_checksum = false;
  bool checksum_ok = true;
  std::int64_t number = 0;  // of `N`
  std::uint32_t mask = 0;   // bit (letter - 'A') of every word present
  std::size_t count = 0;
  std::array<Word, kMost> list;      // in the order of the line, N left out
  std::array<double, 26> by_letter;  // last value of each letter in `mask`
  std::string_view name;             // of a named command
  std::string_view code;             // the line up to its first `;` comment or `*`

  [[nodiscard]] bool has(char letter) const { return (mask >> unsigned(letter - 'A') & 1U) != 0; }
  // A number was given for the letter.
  [[nodiscard]] bool given(char letter) const {
    return has(letter) && !std::isnan(by_letter[std::size_t(letter - 'A')]);
  }
  // REQUIRES: has(letter).
  [[nodiscard]] double value(char letter) const { return by_letter[std::size_t(letter - 'A')]; }
  [[nodiscard]] double value_or(char letter, double otherwise) const {
    return given(letter) ? value(letter) : otherwise;
  }
  // As of a blank line; what is not said to be there keeps its bytes.
  void clear() {
    kind = LineKind::blank;
    block_deleted = numbered = has_checksum = false;
    checksum_ok = true;
    mask = 0;
    count = 0;
    name = {};
  }
  // Whether the words hold this command, e.g. is('M', 104); codes with a decimal: is('G', 92.1).
  [[nodiscard]] bool is(char letter, double command) const;
};

void parse(std::string_view line, Words& words);

// XOR of the bytes, as the RepRap convention's checksum.
[[nodiscard]] unsigned checksum(std::string_view bytes);

}  // namespace forewarm::gcode
