#include "gcode/straight.h"

#include <algorithm>
#include <bit>
#include <cstring>

namespace forewarm::gcode {

namespace {

constexpr std::array<double, 9> kTens{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8};
constexpr std::size_t kLongest = 15;  // digits: any such integer is a double

// What a byte between the words of a move means.
enum : std::uint8_t { kWordF = 4, kLineEnd = 5, kReturn = 6, kComment = 7, kOther = 8 };
constexpr std::array<std::uint8_t, 256> kMeaning = [] {
  std::array<std::uint8_t, 256> m{};
  for (auto& one : m) one = kOther;
  m['X'] = kX;
  m['Y'] = kY;
  m['Z'] = kZ;
  m['E'] = kE;
  m['F'] = kWordF;
  m['\n'] = kLineEnd;
  m['\r'] = kReturn;
  m[';'] = kComment;
  return m;
}();
std::uint8_t meaning(char c) { return kMeaning[static_cast<unsigned char>(c)]; }

bool is_digit(char c) { return unsigned(c) - '0' < 10; }

// The number of eight digits, each in its byte, the first in the lowest one. Adds neighbours, then
// pairs, then fours: three multiplications.
std::uint64_t eight_digits(std::uint64_t v) {
  v = v * 10 + (v >> 8U);
  constexpr std::uint64_t kMask = 0x000000ff000000ffU;
  return ((v & kMask) * 0x000f424000000064U + ((v >> 16U) & kMask) * 0x0000271000000001U) >> 32U;
}

// Digits and a point, one after the other.
const char* long_decimal(const char* p, double& value) {
  std::uint64_t mantissa = 0;
  const char* start = p;
  while (is_digit(*p) && std::size_t(p - start) <= kLongest) {
    mantissa = mantissa * 10 + std::uint64_t(*p++ - '0');
  }
  std::size_t digits = std::size_t(p - start);
  std::size_t decimals = 0;
  if (*p == '.') {
    const char* fraction = ++p;
    while (is_digit(*p) && std::size_t(p - start) <= kLongest + 1) {
      mantissa = mantissa * 10 + std::uint64_t(*p++ - '0');
    }
    decimals = std::size_t(p - fraction);
    digits += decimals;
  }
  if (digits == 0 || digits > kLongest || decimals >= kTens.size()) return nullptr;
  value = double(mantissa) / kTens[decimals];
  return p;
}

// Reads a decimal without sign at p; where it ends, or nullptr if parse() has to. Exact as
// parse()'s: an integer below 2^53 over a power of ten below 1e22 is rounded once.
inline const char* decimal(const char* p, double& value) {
  if constexpr (std::endian::native == std::endian::little) {
    std::uint64_t bytes = 0;
    std::memcpy(&bytes, p, sizeof bytes);
    const std::uint64_t t = bytes ^ 0x3030303030303030U;  // digits become 0..9
    // Bits in the upper half of each byte that is no digit; beyond the first such byte, of no use.
    std::uint64_t other = (t | (t + 0x0606060606060606U)) & 0xf0f0f0f0f0f0f0f0U;
    if (other == 0) return long_decimal(p, value);
    const auto before = unsigned(std::countr_zero(other)) & ~7U;  // bits of the digits in front
    std::uint64_t digits = t;
    unsigned used = before;
    std::size_t decimals = 0;
    if (p[before / 8] == '.') {
      other &= ~(std::uint64_t{0xff} << before);
      if (other == 0) return long_decimal(p, value);
      const auto after = unsigned(std::countr_zero(other)) & ~7U;
      const std::uint64_t front = (std::uint64_t{1} << before) - 1;
      digits = (t & front) | (t >> 8U & ~front);
      used = after - 8;
      decimals = (used - before) / 8;
      p += after / 8;
    } else {
      p += before / 8;
    }
    if (used == 0) return nullptr;
    value = double(std::int64_t(eight_digits(digits << (64 - used)))) / kTens[decimals];
    return p;
  } else {
    return long_decimal(p, value);
  }
}

// Reads what follows G0 or G1 at p. Where the line's text ends, or nullptr if it is none of those
// moves. REQUIRES: a byte that is no part of a move stands at `end` or before.
const char* words(const char* p, const char* end, Straight& line) {
  unsigned given = 0;
  for (;;) {
    while (*p == ' ') ++p;
    const std::uint8_t what = meaning(*p);
    if (what <= kWordF) {
      ++p;
      const bool negative = *p == '-';
      p += negative;
      double value = 0;
      p = decimal(p, value);
      if (p == nullptr) return nullptr;
      if ((given >> what & 1U) != 0) return nullptr;
      line.value[what] = negative ? -value : value;
      given |= 1U << what;
      continue;
    }
    line.given = std::uint8_t(given);
    if (what == kLineEnd) return p;
    if (what == kReturn) return p[1] == '\n' ? p : nullptr;
    if (what != kComment) return nullptr;
    const auto* lf = static_cast<const char*>(std::memchr(p, '\n', std::size_t(end - p)));
    if (lf == nullptr) return end;
    return lf[-1] == '\r' ? lf - 1 : lf;
  }
}

}  // namespace

void digest(const Block& block, Digest& out) {
  const char* p = block.buffer.data();
  const char* const end = p + block.size;
  std::size_t count = 0;
  while (p < end) {
    if (count == out.lines.size()) out.lines.resize(std::max<std::size_t>(1024, 2 * count));
    Straight& line = out.lines[count++];
    line.is = false;
    const char* stop = nullptr;
    if (p[0] == 'G' && (p[1] == '1' || p[1] == '0')) {
      line.code = std::uint8_t(p[1] - '0');
      stop = words(p + 2, end, line);
      line.is = stop != nullptr;
    }
    if (stop == nullptr) {
      const auto* lf = static_cast<const char*>(std::memchr(p, '\n', std::size_t(end - p)));
      stop = lf == nullptr ? end : lf > p && lf[-1] == '\r' ? lf - 1 : lf;
    }
    line.length = std::uint64_t(stop - p);
    line.ending = stop == end ? 0 : *stop == '\r' ? 2 : 1;
    p = stop + line.ending;
  }
  out.count = count;
}

bool read_straight(std::string_view text, Straight& line) {
  constexpr std::size_t kLongestLine = 80;
  // Where eight bytes may be read from every place.
  std::array<char, kLongestLine + Block::kPad> copy;
  if (text.size() < 2 || text.size() > kLongestLine) return false;
  if (text[0] != 'G' || (text[1] != '1' && text[1] != '0')) return false;
  std::memcpy(copy.data(), text.data(), text.size());
  std::memset(copy.data() + text.size(), '\n', Block::kPad);
  line.code = std::uint8_t(text[1] - '0');
  line.length = text.size();
  line.ending = 0;
  const char* const end = copy.data() + text.size();
  line.is = words(copy.data() + 2, end + 1, line) == end;
  return line.is;
}

}  // namespace forewarm::gcode
