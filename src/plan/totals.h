// What a plan comes to, from a replay of its commands: figures, those of each toolhead, and when
// each select begins.
//
// REQUIRES: `outcome` is of the plan's commands, and plan.gaps are those of the job. Pure.
#pragma once

#include "plan/plan.h"
#include "plan/simulate.h"

namespace forewarm::plan {

// Fills in figures, heads and select_at_s.
void sum_up(const job::Job& job, const Simulation& outcome, Plan& plan);

}  // namespace forewarm::plan
