// A table of a report as a value, and what text and page make of it.
//
// A table's builder decides what is in it, the two renderers decide what it looks like. Cells that
// are texts may come from jobs and rule files: the renderers make them harmless. A column may be
// shown by one renderer only, as a terminal is narrower than a page.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "report/format.h"
#include "report/quantities.h"

namespace forewarm::report {

// A figure as a bar, on the page alone; shares are of the width of its column. What it says stands
// as a number in the same row.
struct CellBar {
  struct Part {
    double from = 0, share = 0;
    std::size_t look = 0;  // tells parts side by side apart, by height, tone and edge: under kLooks
  };
  static constexpr std::size_t kLooks = 5;
  std::vector<Part> parts = {};
  std::optional<double> line = {};  // a bound, drawn across
};

// Empty, or a text, a number or a bar.
using Cell = std::variant<std::monostate, std::string, Amount, CellBar>;

struct Column {
  enum class Kind : std::uint8_t { name, text, number, bar };  // name: says what the row is of
  enum class Shown : std::uint8_t { everywhere, in_text, on_page };

  std::string head = {};
  Kind kind = Kind::number;
  std::size_t width = 0;              // in text, at least; numbers and names of tools end there
  bool right = kind == Kind::number;  // in text
  bool cut = false;                   // in text: a longer cell ends in "..."
  Shown shown = Shown::everywhere;
  std::string page_head = {};  // empty: the head, with a capital
  bool bare = false;           // on the page: numbers without unit, which stands elsewhere
};

struct Row {
  enum class Mark : std::uint8_t {
    none,
    in_force,  // of the policy that the rule file asks for
    limit,     // a bound or a sum: not one of the others
    late,      // the machine waits
  };
  std::vector<Cell> cells = {};  // one for each column; those at the end may be left out
  Mark mark = Mark::none;
  std::string below = {};  // in text, on lines of its own
};

struct Table {
  std::string title = {};  // of its section on the page
  std::vector<Column> columns = {};
  std::vector<Row> rows = {};
  std::string note = {};  // below it
};

// A column for each figure, as wide as `widths` says, in order. REQUIRES: as many.
template <class Values>
void add_columns(Table& table, std::span<const Figure<Values>> figures,
                 std::span<const std::size_t> widths) {
  for (std::size_t i = 0; i < figures.size(); ++i) {
    table.columns.push_back({.head = std::string((*figures[i]).words), .width = widths[i]});
  }
}
// A cell for each figure; one that is not known is empty.
template <class Values>
void add_cells(Row& row, std::span<const Figure<Values>> figures, const Values& values) {
  for (const Figure<Values>& figure : figures) {
    if (figure.known(values)) {
      row.cells.emplace_back(figure.amount(values));
    } else {
      row.cells.emplace_back();
    }
  }
}

// Columns side by side, padded with blanks; ends in a newline. No line ends in blanks. Where lines
// would be longer than `width`, columns come closer together, heads take several lines, and at last
// the widest texts are cut; numbers never are.
[[nodiscard]] std::string text_of(const Table& table, std::size_t width = kTextWidth);
// A <div> that holds the <table>, and its note as a <p>; without the title.
[[nodiscard]] std::string html_of(const Table& table);

// A bar by itself, as a picture that says nothing to those who cannot see it.
[[nodiscard]] std::string html_of(const CellBar& bar);

// With a capital, as a page begins what stands alone.
[[nodiscard]] std::string capitalised(std::string_view words);

}  // namespace forewarm::report
