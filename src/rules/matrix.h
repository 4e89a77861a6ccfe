// The cost of exchanging one filament for another, read from a table (CSV).
//
// The first row names the filaments that come in, the first column those that go out, each by its
// T number ("T3" or "3") or by its name in the rule file. The cell at the top left is the unit: g
// or mm3. Cells are from 0 to 1000000; those of a filament and itself mean nothing and may be
// empty. Fields are set apart by commas and may stand in double quotes, "" for a quote; a # outside
// quotes begins a comment; empty lines, blanks around fields, CR LF and a byte order mark do no
// harm. Errors are of kind `rules`, with file:line:column, the line and a caret.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "rules/rules.h"

namespace forewarm::rules {

struct Matrix {
  enum class Unit { g, mm3 };
  Unit unit = Unit::g;
  std::string file;           // its name in messages
  std::uint64_t line = 0;     // of its first row
  std::vector<int> from, to;  // T numbers of rows and columns
  std::vector<double> cells;  // row by row
  // Nothing where there is no such row or column.
  [[nodiscard]] std::optional<double> cost(int from_tool, int to_tool) const;
};

// Bounds: kMaxMatrixBytes of text. `name` stands for the file in messages. No file is opened.
constexpr std::size_t kMaxMatrixBytes = 1 << 20;
[[nodiscard]] Result<Matrix> load_matrix(std::string_view text, const std::string& name,
                                         const Rules& rules);

}  // namespace forewarm::rules
