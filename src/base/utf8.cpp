#include "base/utf8.h"

#include <algorithm>

namespace forewarm {

std::size_t utf8_sequence(std::string_view text) {
  const auto at = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = at(0);
  if (lead < 0x80) return 1;
  if (lead < 0xc2 || lead > 0xf4) return 0;
  const std::size_t n = lead < 0xe0 ? 2 : lead < 0xf0 ? 3 : 4;
  // What the second byte may be: no overlong forms, no surrogates, nothing beyond U+10FFFF.
  const unsigned low = lead == 0xe0 ? 0xa0 : lead == 0xf0 ? 0x90 : 0x80;
  const unsigned high = lead == 0xed ? 0x9f : lead == 0xf4 ? 0x8f : 0xbf;
  if (text.size() < n || at(1) < low || at(1) > high) return 0;
  for (std::size_t i = 2; i < n; ++i) {
    if ((at(i) & 0xc0U) != 0x80) return 0;
  }
  return n;
}

std::string_view first_character(std::string_view text) {
  return text.substr(0, std::max<std::size_t>(1, utf8_sequence(text)));
}

}  // namespace forewarm
