// How much room a text takes on a terminal, in columns.
//
// A character takes one column, an East Asian or an emoji two (Unicode Standard Annex 11, "East
// Asian Width": W and F, by blocks), a mark that stands on the character before it none. Terminals
// differ in what they make of rare ones; what is not known takes one. Pure.
#pragma once

#include <cstddef>
#include <string_view>

namespace forewarm::report {

[[nodiscard]] std::size_t columns_of(std::string_view text);
// The longest beginning of `text` that takes no more than so many.
[[nodiscard]] std::string_view first_columns(std::string_view text, std::size_t columns);

}  // namespace forewarm::report
