#include "report/diff_table.h"

#include <fmt/format.h>

#include <algorithm>

#include "report/columns.h"

namespace forewarm::report {

Table diff_table(const DiffCounts& counts) {
  Table out;
  std::size_t longest = 24;
  for (const DiffCounts::Row& row : counts.rows) {
    longest = std::max(longest, columns_of(row.reason));
  }
  out.columns = {{.head = "reason", .kind = Column::Kind::name, .width = longest},
                 {.head = "inserted", .width = 10},
                 {.head = "removed", .width = 10}};
  const auto add = [&out](const std::string& reason, std::uint64_t inserted, std::uint64_t removed,
                          Row::Mark mark) {
    Row row{.cells = {reason}, .mark = mark};
    for (const std::uint64_t n : {inserted, removed}) {
      row.cells.emplace_back();
      if (n > 0 || mark == Row::Mark::limit) row.cells.back() = Amount{double(n), Unit::count};
    }
    out.rows.push_back(std::move(row));
  };
  std::uint64_t inserted = 0, removed = 0;
  for (const DiffCounts::Row& row : counts.rows) {
    inserted += row.inserted;
    removed += row.removed;
    add(row.reason, row.inserted, row.removed, Row::Mark::none);
  }
  add("together", inserted, removed, Row::Mark::limit);
  out.note = fmt::format(
      "{}: {} in, {} out. A removed line stays as a comment, so it is one in and one out.",
      counted(counts.hunks, "hunk", "hunks"), counted(counts.plus, "line", "lines"),
      counted(counts.minus, "line", "lines"));
  return out;
}

}  // namespace forewarm::report
