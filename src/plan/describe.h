// The causes of a plan in words, with their numbers: for marks, the report and the JSON.
//
// Pure and locale-free; plain ASCII without line breaks, as a mark needs it.
#pragma once

#include <string>

#include "plan/decide_gap.h"

namespace forewarm::plan {

// Why the gap is treated as it is, and what its preheat keeps to.
[[nodiscard]] std::string describe(const Rationale& rationale);
// The same for one command of it.
[[nodiscard]] std::string describe(const GapAction& action, const Rationale& rationale);

}  // namespace forewarm::plan
