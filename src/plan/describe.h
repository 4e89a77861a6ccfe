// The causes of a plan in words, with their numbers: for marks, the report and the JSON.
//
// Pure and locale-free; plain ASCII without line breaks, as a mark needs it.
#pragma once

#include <string>

#include "plan/command.h"
#include "plan/decide_gap.h"
#include "plan/problem.h"
#include "plan/solution.h"

namespace forewarm::plan {

// Why the gap is treated as it is, and what its preheat keeps to.
[[nodiscard]] std::string describe(const Rationale& rationale);
// Whether and why the heating limit is exceeded by a look-ahead plan; empty: it is not.
[[nodiscard]] std::string describe_over_limit(const Figures& figures);
// The same for one command of it.
[[nodiscard]] std::string describe(const GapAction& action, const Rationale& rationale);

// Fills in a command's reason from its origin, and the text of a raw command. REQUIRES: it is one
// of `decided`, and no echo.
void describe(Command& command, const Problem& problem, const Decided& decided);

}  // namespace forewarm::plan
