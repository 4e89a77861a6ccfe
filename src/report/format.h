// Numbers, times and names as every report writes them.
//
// Pure, and locale-free: the same values give the same characters on any machine. Names come from
// jobs and rule files and are hostile until they went through clean() or escaped().
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "rules/rules.h"

namespace forewarm::report {

// A time shorter than this is rounding, not waiting.
constexpr double kSomeWaitS = 0.05;

[[nodiscard]] std::string duration(double seconds);      // "4.2 s", "12 min 03 s", "7 h 05 min"
[[nodiscard]] std::string clock(double seconds);         // "7:05:12"
[[nodiscard]] std::string size(std::uint64_t bytes);     // "1.1 MB"
[[nodiscard]] std::string number(double x, int digits);  // never "-0.0", "inf" or "nan"
[[nodiscard]] std::string counted(std::uint64_t n, std::string_view one, std::string_view many);

// Where a text is not for a terminal, whose width would be taken.
constexpr std::size_t kTextWidth = 80;

// Lines of up to `width` columns, but never of more than 90, which are hard to read; broken at
// spaces, indented; ends in a newline.
[[nodiscard]] std::string wrapped(std::string_view text, std::size_t indent,
                                  std::size_t width = kTextWidth);
// No more than `width` columns of a name, the last of them "..." if it is longer.
// REQUIRES: room for these.
[[nodiscard]] std::string cut_to(const std::string& whole, std::size_t width);

// printable() and valid UTF-8: bytes that are not become U+FFFD, as do the controls that turn the
// direction of the text behind them.
[[nodiscard]] std::string clean(std::string_view text, std::size_t limit = 160);

// clean() and safe between tags and in quoted attributes of a page. Characters that turn the
// direction of writing, and would turn what stands beside them, become U+FFFD.
[[nodiscard]] std::string escaped(std::string_view text);

// Rounded to the thousandth, since the last bits of a sum depend on the machine. Never -0; a number
// that is not finite is left as it is.
[[nodiscard]] double thousandths(double x);

// JSON as it may reach a terminal: DEL and the C1 controls, which JSON lets stand in strings,
// escaped.
[[nodiscard]] std::string without_controls(std::string_view json);

// A field of a CSV line (RFC 4180, section 2). A number that is not finite is an empty field; a
// text with a quote, comma or line break is quoted, its quotes doubled.
[[nodiscard]] std::string csv_field(double x);
[[nodiscard]] std::string csv_field(std::string_view text);

// Which rule file the figures go by, and the hash of it that rewritten jobs bear.
// "a.toml, 0123456789abcdef", and the settings in place of its values, if any.
[[nodiscard]] std::string rules_words(const rules::Rules& rules);
[[nodiscard]] std::string hash_text(std::uint64_t hash);  // 16 hex digits

}  // namespace forewarm::report
