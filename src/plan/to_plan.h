// A solution as a Plan: commands in the order of the text and with their reasons, gaps with their
// figures, and the totals.
//
// Pure. All figures come from the solution's simulation, so they are what would happen.
#pragma once

#include "plan/plan.h"
#include "plan/problem.h"
#include "plan/simulate.h"
#include "plan/solution.h"

namespace forewarm::plan {

[[nodiscard]] Plan to_plan(const Problem& problem, const Solution& solution);

// The plan of a job that is not worth planning: its own targets as they stand.
[[nodiscard]] Plan without_planning(const job::Job& job, const rules::Rules& rules,
                                    rules::Policy policy);

}  // namespace forewarm::plan
