// The commands that decisions come to, as drafts: those of the gaps, waits before uses and
// exchanges, step sequences, and what [dialect] has at the start and the end of planning
// and around changes.
//
// Pure. REQUIRES: `decisions` are those of problem.gaps, made on `basis`.
#pragma once

#include <span>
#include <vector>

#include "plan/basis.h"
#include "plan/command.h"
#include "plan/decide_gap.h"
#include "plan/problem.h"

namespace forewarm::plan {

// In no order yet: place and rank decide (events.h). `memory` is given up for its memory alone.
[[nodiscard]] std::vector<CommandDraft> draft_commands(const Problem& problem, const Basis& basis,
                                                       std::span<const GapDecision> decisions,
                                                       std::vector<CommandDraft> memory = {});

}  // namespace forewarm::plan
