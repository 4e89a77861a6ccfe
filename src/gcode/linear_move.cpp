#include "gcode/linear_move.h"

#include <algorithm>
#include <bit>
#include <cstring>

namespace forewarm::gcode {

namespace {

constexpr std::size_t kLongest = 15;     // digits: any such integer is a double
constexpr std::size_t kMaxDecimals = 8;  // as LinearMove has powers of ten

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
inline std::uint64_t eight_digits(std::uint64_t v) {
  v = v * 10 + (v >> 8U);
  constexpr std::uint64_t kMask = 0x000000ff000000ffU;
  return ((v & kMask) * 0x000f424000000064U + ((v >> 16U) & kMask) * 0x0000271000000001U) >> 32U;
}

struct Decimal {
  std::uint64_t mantissa = 0;
  std::uint32_t decimals = 0;
};

// Digits and a point, one after the other.
const char* long_decimal(const char* p, Decimal& out) {
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
  if (digits == 0 || digits > kLongest || decimals > kMaxDecimals) return nullptr;
  out = {mantissa, std::uint32_t(decimals)};
  return p;
}

// Reads a decimal without sign at p; where it ends, or nullptr if parse() has to.
inline const char* decimal(const char* p, Decimal& out) {
  if constexpr (std::endian::native == std::endian::little) {
    std::uint64_t bytes = 0;
    std::memcpy(&bytes, p, sizeof bytes);
    const std::uint64_t t = bytes ^ 0x3030303030303030U;  // digits become 0..9
    // Bits in the upper half of each byte that is no digit; beyond the first such byte, of no use.
    std::uint64_t other = (t | (t + 0x0606060606060606U)) & 0xf0f0f0f0f0f0f0f0U;
    if (other == 0) return long_decimal(p, out);
    const auto before = unsigned(std::countr_zero(other)) & ~7U;  // bits of the digits in front
    std::uint64_t digits = t;
    unsigned used = before;
    unsigned decimals = 0;
    if (p[before / 8] == '.') {
      other &= ~(std::uint64_t{0xff} << before);
      if (other == 0) return long_decimal(p, out);
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
    out = {eight_digits(digits << (64 - used)), decimals};
    return p;
  } else {
    return long_decimal(p, out);
  }
}

}  // namespace

class MoveReader {
 public:
  // Reads what follows G0 or G1 at p. Where the line's text ends, or nullptr if it is none of those
  // moves. REQUIRES: a byte that is no part of a move stands at `end` or before.
  static const char* read(const char* p, const char* end, std::uint32_t code, LinearMove& line) {
    std::array<std::int64_t, 5> number{};
    std::uint32_t bits = LinearMove::kIs | code << LinearMove::kCodeAt;
    bool fits = true;
    for (;;) {
      while (*p == ' ') ++p;
      const std::uint8_t what = meaning(*p);
      if (what <= kWordF) {
        ++p;
        const bool negative = *p == '-';
        p += negative;
        Decimal d;
        p = decimal(p, d);
        if (p == nullptr || (bits >> what & 1U) != 0) return nullptr;
        fits &= !negative || d.mantissa != 0;  // there is a zero below zero
        number[what] = negative ? -std::int64_t(d.mantissa) : std::int64_t(d.mantissa);
        bits |= 1U << what | d.decimals << (LinearMove::kDecimalsAt + 4U * what);
        continue;
      }
      if (what > kComment) return nullptr;
      for (std::size_t a = 0; a < 3; ++a) line.place_[a] = std::int32_t(number[a]);
      line.feed_ = std::int32_t(number[kWordF]);
      line.filament_ = number[kE];
      fits &= line.place_[0] == number[0] && line.place_[1] == number[1] &&
              line.place_[2] == number[2] && line.feed_ == number[kWordF];
      if (!fits) return nullptr;
      line.bits_ = bits;
      if (what == kLineEnd) return p;
      if (what == kReturn) return p[1] == '\n' ? p : nullptr;
      line.bits_ |= LinearMove::kComment;
      const auto* lf = static_cast<const char*>(std::memchr(p, '\n', std::size_t(end - p)));
      if (lf == nullptr) return end;
      return lf[-1] == '\r' ? lf - 1 : lf;
    }
  }
};

void digest(const Block& block, ParsedBlock& out) {
  const char* p = block.buffer.data();
  const char* const end = p + block.size;
  std::size_t count = 0;
  while (p < end) {
    if (count == out.lines.size()) out.lines.resize(std::max<std::size_t>(1024, 2 * count));
    LinearMove& line = out.lines[count++];
    const char* stop = nullptr;
    if (p[0] == 'G' && (p[1] == '1' || p[1] == '0')) {
      stop = MoveReader::read(p + 2, end, std::uint32_t(p[1] - '0'), line);
    }
    if (stop == nullptr) {
      line.bits_ = 0;
      const auto* lf = static_cast<const char*>(std::memchr(p, '\n', std::size_t(end - p)));
      stop = lf == nullptr ? end : lf > p && lf[-1] == '\r' ? lf - 1 : lf;
    }
    const unsigned ending = stop == end ? 0 : *stop == '\r' ? 2 : 1;
    line.end(std::uint64_t(stop - p), ending);
    p = stop + ending;
  }
  out.count = count;
}

}  // namespace forewarm::gcode
