// The question that assign() answers, from a job and the rules for its machine.
//
// Every select of the job counts, those of start code too; a filament is what the job calls Tn. A
// filament that the job does not use keeps its tool if it is `fixed`, and gives it up if not. A
// tool that the job uses before it selects any is what the machine takes then: it stays.
#pragma once

#include <optional>

#include "base/error.h"
#include "job/job.h"
#include "plan/assign.h"
#include "rules/matrix.h"
#include "rules/rules.h"

namespace forewarm::plan {

// Errors (kind `rules`): the matrix has no row or no column for a filament that the job uses.
[[nodiscard]] Result<AssignQuestion> question_of(const job::Job& job, const rules::Rules& rules,
                                                 AssignQuestion::By by,
                                                 const rules::Matrix* matrix = nullptr);

}  // namespace forewarm::plan
