#include "report/columns.h"

#include <algorithm>
#include <array>
#include <cstdint>

#include "base/utf8.h"

namespace forewarm::report {

namespace {

struct Range {
  char32_t first, last;
};

// By their ends. What no code point has is taken with its neighbours.
constexpr std::array kWide{
    Range{0x1100, 0x115f},   Range{0x231a, 0x231b},   Range{0x2329, 0x232a},
    Range{0x23e9, 0x23ec},   Range{0x23f0, 0x23f0},   Range{0x23f3, 0x23f3},
    Range{0x2e80, 0x303e},   Range{0x3041, 0x3247},   Range{0x3250, 0x4dbf},
    Range{0x4e00, 0xa4c6},   Range{0xa960, 0xa97c},   Range{0xac00, 0xd7a3},
    Range{0xf900, 0xfad9},   Range{0xfe10, 0xfe19},   Range{0xfe30, 0xfe6b},
    Range{0xff01, 0xff60},   Range{0xffe0, 0xffe6},   Range{0x16fe0, 0x1b2fb},
    Range{0x1f200, 0x1f320}, Range{0x1f32d, 0x1f335}, Range{0x1f337, 0x1f37c},
    Range{0x1f37e, 0x1f393}, Range{0x1f3a0, 0x1f3ca}, Range{0x1f3cf, 0x1f3d3},
    Range{0x1f3e0, 0x1f3f0}, Range{0x1f3f8, 0x1f43e}, Range{0x1f442, 0x1f4fc},
    Range{0x1f4ff, 0x1f53d}, Range{0x1f54b, 0x1f54e}, Range{0x1f550, 0x1f567},
    Range{0x1f5fb, 0x1f64f}, Range{0x1f680, 0x1f6c5}, Range{0x1f6f4, 0x1f6fc},
    Range{0x1f7e0, 0x1f7f0}, Range{0x1f90c, 0x1f93a}, Range{0x1f93c, 0x1f945},
    Range{0x1f947, 0x1f9ff}, Range{0x1fa70, 0x1faf6}, Range{0x20000, 0x3fffd}};
constexpr std::array kNoRoom{Range{0x0300, 0x036f}, Range{0x0483, 0x0489},  Range{0x0591, 0x05bd},
                             Range{0x0610, 0x061a}, Range{0x064b, 0x065f},  Range{0x0e34, 0x0e3a},
                             Range{0x0e47, 0x0e4e}, Range{0x1ab0, 0x1aff},  Range{0x1dc0, 0x1dff},
                             Range{0x200b, 0x200f}, Range{0x2060, 0x2064},  Range{0x20d0, 0x20ff},
                             Range{0x3099, 0x309a}, Range{0xfe00, 0xfe0f},  Range{0xfe20, 0xfe2f},
                             Range{0xfeff, 0xfeff}, Range{0xe0100, 0xe01ef}};

template <std::size_t kRanges>
bool is_in(const std::array<Range, kRanges>& ranges, char32_t point) {
  const auto at = std::lower_bound(ranges.begin(), ranges.end(), point,
                                   [](const Range& r, char32_t p) { return r.last < p; });
  return at != ranges.end() && at->first <= point;
}

char32_t code_point(std::string_view character) {
  const auto lead = static_cast<unsigned char>(character[0]);
  if (character.size() == 1) return lead;
  // The lead byte has a one for each byte, and a zero.
  char32_t out = lead & (0x7fU >> character.size());
  for (const char c : character.substr(1))
    out = out << 6U | (static_cast<unsigned char>(c) & 0x3fU);
  return out;
}

std::size_t room_of(std::string_view character) {
  const char32_t point = code_point(character);
  if (point < 0x300) return 1;
  return is_in(kNoRoom, point) ? 0 : is_in(kWide, point) ? 2 : 1;
}

}  // namespace

std::size_t columns_of(std::string_view text) {
  std::size_t out = 0;
  while (!text.empty()) {
    const std::string_view character = first_character(text);
    out += room_of(character);
    text.remove_prefix(character.size());
  }
  return out;
}

std::string_view first_columns(std::string_view text, std::size_t columns) {
  std::size_t bytes = 0;
  while (bytes < text.size()) {
    const std::string_view character = first_character(text.substr(bytes));
    const std::size_t room = room_of(character);
    if (room > columns) break;
    columns -= room;
    bytes += character.size();
  }
  return text.substr(0, bytes);
}

}  // namespace forewarm::report
