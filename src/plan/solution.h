// What is decided for a problem, and what it comes to.
//
// Waits and start temperatures feed back into the length of gaps, so solving goes in rounds: decide
// on a basis, draft the commands, simulate them, and decide anew on that, until both agree.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "plan/basis.h"
#include "plan/command.h"
#include "plan/decide_gap.h"
#include "plan/problem.h"

namespace forewarm::plan {

struct Decided {
  std::vector<GapDecision> decisions;  // as problem.gaps
  std::vector<CommandDraft> commands;  // in no order yet
  std::shared_ptr<const Basis> basis;  // that the decisions were made on
};

struct Solution {
  std::optional<Decided> decided;       // nothing: the job's heating stays as it is sliced
  std::shared_ptr<const Basis> result;  // the simulation of it all
};

// REQUIRES: the problem outlives its solution. Pure.
[[nodiscard]] Solution solve(const Problem& problem);

}  // namespace forewarm::plan
