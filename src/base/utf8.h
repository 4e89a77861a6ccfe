// Where the characters of a text end, in UTF-8 (RFC 3629).
#pragma once

#include <cstddef>
#include <string_view>

namespace forewarm {

// Bytes of the well-formed sequence that `text`, which is not empty, begins with: no overlong
// forms, no surrogates, nothing beyond U+10FFFF. 0 if it begins with none.
[[nodiscard]] std::size_t utf8_sequence(std::string_view text);

// A character: a well-formed sequence, or a byte that is in none. `text` is not empty.
[[nodiscard]] std::string_view first_character(std::string_view text);

}  // namespace forewarm
