// The problem that solve() solves, from a job and the rules for its machine.
//
// Every select of the job counts, those of start code too; a filament is what the job calls Tn. A
// filament that the job does not use keeps its tool if it is `fixed`, and gives it up if not. A
// tool that the job uses before it selects any is what the machine takes then: it stays.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "assign/assign.h"
#include "base/error.h"
#include "job/job.h"
#include "rules/matrix.h"
#include "rules/rules.h"

namespace forewarm::assign {

// Errors (kind `rules`): the matrix has no row or no column for a filament that the job uses.
[[nodiscard]] Result<Problem> problem_of(const job::Job& job, const rules::Rules& rules,
                                         Problem::By by, const rules::Matrix* matrix = nullptr);

// A rule that does not let a filament be where it is to be.
struct BrokenPlace {
  rules::Filament filament;
  std::string key;           // "only", "never" or "fixed"
  int to = 0;                // the tool that it is to be at,
  std::optional<int> other;  // or, where `fixed` keeps it there unused, the one that is to be there
};
// All that `map` (from old tool to new) breaks, by the filaments that it moves and the job uses.
[[nodiscard]] std::vector<BrokenPlace> broken_places(const job::Job& job, const rules::Rules& rules,
                                                     const std::map<int, int>& map);

}  // namespace forewarm::assign
