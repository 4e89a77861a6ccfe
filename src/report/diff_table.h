// What a diff inserts and removes, by reason, for people. Pure.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "report/table.h"

namespace forewarm::report {

struct DiffCounts {
  struct Row {
    std::string reason;
    std::uint64_t inserted = 0, removed = 0;
  };
  std::vector<Row> rows;
  std::uint64_t hunks = 0, plus = 0, minus = 0;  // of the diff as it is written
};

// With the sums as its last row.
[[nodiscard]] Table diff_table(const DiffCounts& counts);

}  // namespace forewarm::report
