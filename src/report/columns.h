// How much room a text takes on a terminal, in columns.
//
// A character takes one column, an East Asian one or an emoji two (Unicode Standard Annex 11, "East
// Asian Width": W and F), a mark that stands on the character before it none. The tables are those
// of the C library, kept here so that a text is the same on any machine; terminals differ in what
// they make of rare characters. Pure.
#pragma once

#include <cstddef>
#include <string_view>

namespace forewarm::report {

[[nodiscard]] std::size_t columns_of(std::string_view text);
// The longest beginning of `text` that takes no more than so many.
[[nodiscard]] std::string_view first_columns(std::string_view text, std::size_t columns);
// The longest end of it that does, and that begins with no mark of what is left out.
[[nodiscard]] std::string_view last_columns(std::string_view text, std::size_t columns);

}  // namespace forewarm::report
