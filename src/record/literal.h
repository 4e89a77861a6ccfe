// A word that a line must have for a pattern to fit it, and where in a record it stands next: most
// lines have none, and finding that out is much faster than trying the pattern.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "record/lines.h"

namespace forewarm::record {

// The longest run of plain characters that every match of an RE2 pattern contains; empty where none
// of three characters or more is certain. Only a pattern's outermost level is looked at.
[[nodiscard]] std::string needed_literal(std::string_view pattern);

class Finder {
 public:
  // REQUIRES: no LF in it; empty: every line may have it.
  explicit Finder(std::string literal) : literal_(std::move(literal)) {}

  // The place of its first occurrence in the line, or npos. REQUIRES: asked of each line in turn,
  // or of some, but never of an earlier one.
  [[nodiscard]] std::size_t in(const Line& line, const Lines& lines);

 private:
  std::string literal_;
  std::uint64_t fills_ = 0;
  const char* next_ = nullptr;  // where it stands next in memory
  bool none_ = false;           // nowhere, until memory is filled again
};

}  // namespace forewarm::record
