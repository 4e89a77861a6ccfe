#include "gcode/words.h"

#include <fast_float/fast_float.h>

#include <limits>
#include <string>

namespace forewarm::gcode {

namespace {

constexpr double kFlag = std::numeric_limits<double>::quiet_NaN();
constexpr std::array<double, 19> kTens{1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8, 1e9,
                                       1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18};

bool is_digit(char c) { return unsigned(c) - '0' < 10; }
bool is_space(char c) { return c == ' ' || c == '\t'; }
// Lower-cases ASCII letters; other bytes never land in 'a'..'z'.
char folded(char c) { return char(c | 0x20); }
bool is_letter(char c) { return unsigned(static_cast<unsigned char>(folded(c))) - 'a' < 26; }

// Commands whose rest is text for a display, a file or an object, not words.
bool takes_text(double m) {
  if (!(m >= 0 && m < 1000)) return false;
  switch (int(m)) {
    case 0:
    case 1:
    case 16:
    case 23:
    case 28:
    case 30:
    case 32:
    case 36:
    case 117:
    case 118:
    case 486:
    case 550:
    case 551:
    case 587:
    case 588:
    case 589:
    case 928:
      return m == double(int(m));
    default:
      return false;
  }
}

// Reads a number of any length. False if it is too large for a double.
bool long_number(const char* digits, const char* end, double& magnitude) {
  fast_float::from_chars(digits, end, magnitude, fast_float::chars_format::fixed);
  return std::isfinite(magnitude);
}

// Reads a number with spaces inside, which the standard allows and hardly anyone writes.
const char* slow_number(const char* p, const char* end, double& value) {
  std::string digits;
  bool negative = false;
  bool point = false;
  bool any = false;
  const char* after = p;
  if (p < end && (*p == '+' || *p == '-')) {
    negative = *p == '-';
    ++p;
  }
  for (; p < end; ++p) {
    if (is_space(*p)) continue;
    if (*p == '.' && !point) {
      point = true;
    } else if (is_digit(*p)) {
      any = true;
    } else {
      break;
    }
    digits += *p;
    after = p + 1;
  }
  if (!any) return nullptr;
  double magnitude = 0;
  if (!long_number(digits.data(), digits.data() + digits.size(), magnitude)) return nullptr;
  value = negative ? -magnitude : magnitude;
  return after;
}

// Reads [sign] digits [point digits] at p; nullptr if there is no number. Exact: a mantissa below
// 2^53 over a power of ten up to 1e18 is one correctly rounded division while the power is <= 1e22.
const char* number(const char* p, const char* end, double& value) {
  const char* start = p;
  bool negative = false;
  if (p < end && (*p == '+' || *p == '-')) negative = *p++ == '-';
  std::uint64_t mantissa = 0;
  const char* digits = p;
  while (p < end && is_digit(*p)) mantissa = mantissa * 10 + std::uint64_t(*p++ - '0');
  std::size_t total = std::size_t(p - digits);
  std::size_t decimals = 0;
  if (p < end && *p == '.') {
    const char* fraction = ++p;
    while (p < end && is_digit(*p)) mantissa = mantissa * 10 + std::uint64_t(*p++ - '0');
    decimals = std::size_t(p - fraction);
    total += decimals;
  }
  if (p < end && is_space(*p)) {
    const char* q = p;
    while (q < end && is_space(*q)) ++q;
    if (q < end && (is_digit(*q) || (*q == '.' && decimals == 0))) {
      return slow_number(start, end, value);
    }
  }
  if (total == 0) return slow_number(start, end, value);
  double magnitude = 0;
  if (total > 18 || mantissa >= (std::uint64_t{1} << 53U)) {
    if (!long_number(digits, p, magnitude)) return nullptr;
  } else {
    magnitude = double(mantissa) / kTens[decimals];
  }
  value = negative ? -magnitude : magnitude;
  return p;
}

// A command that takes text ends at a space, though the standard would read on: M117 5 left.
// `p`: after the M. Where its text begins, and its number; nullptr if it takes none.
const char* text_command(const char* p, const char* end, double& value) {
  const char* stop = p;
  while (stop < end && (is_digit(*stop) || *stop == '.')) ++stop;
  return stop > p && number(p, stop, value) != nullptr && takes_text(value) ? stop : nullptr;
}

bool name_char(char c) { return is_letter(c) || is_digit(c) || c == '_'; }

void read_checksum(const char* star, const char* begin, const char* end, Words& w) {
  w.has_checksum = true;
  unsigned stated = 0;
  const char* p = star + 1;
  while (p < end && is_space(*p)) ++p;
  bool any = false;
  while (p < end && is_digit(*p) && stated < 100000) {
    stated = stated * 10 + unsigned(*p++ - '0');
    any = true;
  }
  w.checksum_ok = any && stated == checksum({begin, std::size_t(star - begin)});
}

// Ends a line whose rest is text: at its comment, or at its checksum. Text may hold stars, so the
// last one counts, and only where there is a line number, without which nothing is checked.
void end_text(const char* p, const char* begin, const char* end, Words& w) {
  const char* stop = p;
  const char* star = nullptr;
  for (; stop < end && *stop != ';'; ++stop) {
    if (*stop == '*' && w.numbered) star = stop;
  }
  if (star != nullptr) {
    read_checksum(star, begin, end, w);
    stop = star;
  }
  w.code = {begin, std::size_t(stop - begin)};
}

}  // namespace

unsigned checksum(std::string_view bytes) {
  unsigned sum = 0;
  for (const char c : bytes) sum ^= static_cast<unsigned char>(c);
  return sum;
}

bool Words::is(char letter, double command) const {
  if (kind != LineKind::words || !has(letter)) return false;
  if (value(letter) == command) return true;
  for (std::size_t i = 0; i < count; ++i) {
    if (list[i].letter == letter && list[i].value == command) return true;
  }
  return false;
}

namespace {

void read(std::string_view line, Words& w) {
  w.kind = LineKind::blank;
  w.block_deleted = w.numbered = w.has_checksum = false;
  w.checksum_ok = true;
  w.mask = 0;
  w.count = 0;
  w.name = {};
  w.code = line;
  const char* const begin = line.data();
  const char* const end = begin + line.size();
  const char* p = begin;
  bool first = true;  // no word yet
  while (p < end) {
    const char c = *p;
    if (is_letter(c)) {
      const char letter = char(folded(c) - 'a' + 'A');
      const char* q = p + 1;
      if (first && q < end && (is_letter(*q) || *q == '_')) {
        const char* from = p;
        while (p < end && name_char(*p)) ++p;
        w.name = {from, std::size_t(p - from)};
        w.kind = LineKind::named;
        end_text(p, begin, end, w);
        return;
      }
      while (q < end && is_space(*q)) ++q;
      double value = kFlag;
      const char* text = letter == 'M' && first ? text_command(q, end, value) : nullptr;
      if (text != nullptr) {
        p = text;
      } else if (q < end && (is_digit(*q) || *q == '.' || *q == '-' || *q == '+')) {
        const char* after = number(q, end, value);
        if (after == nullptr) {
          w.kind = LineKind::unknown;
          return;
        }
        p = after;
      } else if (q < end && *q == '"') {
        const char* close = q + 1;
        while (close < end && *close != '"') ++close;
        p = close < end ? close + 1 : close;
      } else {
        p = q;
      }
      if (letter == 'N' && first && !w.numbered && !std::isnan(value) && value >= -1 &&
          value < 9e15) {
        w.numbered = true;
        w.number = std::int64_t(value);
        w.kind = LineKind::words;
        continue;
      }
      if (w.count == Words::kMost) {
        w.kind = LineKind::unknown;
        return;
      }
      w.list[w.count++] = {letter, value};
      w.by_letter[std::size_t(letter - 'A')] = value;
      w.mask |= 1U << unsigned(letter - 'A');
      w.kind = LineKind::words;
      if (text != nullptr) {
        end_text(p, begin, end, w);
        return;
      }
      first = false;
    } else if (is_space(c) || c == '\r') {
      ++p;
    } else if (c == ';') {
      w.code = {begin, std::size_t(p - begin)};
      break;
    } else if (c == '(') {
      while (p < end && *p != ')') ++p;
      if (p < end) ++p;
    } else if (c == '*') {
      w.code = {begin, std::size_t(p - begin)};
      read_checksum(p, begin, end, w);
      break;
    } else if (c == '/' && w.count == 0 && !w.numbered && !w.block_deleted) {
      w.block_deleted = true;
      ++p;
    } else {
      w.kind = LineKind::unknown;
      return;
    }
  }
}

}  // namespace

void parse(std::string_view line, Words& w) {
  read(line, w);
  if (w.block_deleted) {
    w.kind = LineKind::blank;
    w.name = {};
  }
  if (w.block_deleted || w.kind == LineKind::unknown) {
    // What was read before the line turned out to be none must not be taken for words.
    w.count = 0;
    w.mask = 0;
  }
}

}  // namespace forewarm::gcode
