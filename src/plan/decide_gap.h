// One gap, one policy: what its heater does between being parked and being needed.
//
// Look-ahead decides in this order. Not late where the gap allows it; held where the dip would be
// under hold_drop_c; off where standby would break max_hot_idle_s or the gap is longer than
// off_over_s; else standby. With off_over_s = "best", whichever of standby, off and holding costs
// least. Cooling starts at the beginning of the gap; reheating starts at the last insertion point
// that meets every deadline. Neither cooling later nor reheating earlier is cheaper, because cost
// grows with temperature. (Tests try all sequences of commands in small gaps.)
//
// Pure. A decision carries its cause and its numbers as data; describe.h says them.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "plan/gap_context.h"
#include "plan/lead_time.h"
#include "plan/plan.h"
#include "rules/rules.h"

namespace forewarm::plan {

struct GapAction {
  double after_s = 0;
  double target_c = 0;
  enum class Kind : std::uint8_t { hold, standby, off, preheat, timer_standby, timer_off } kind;
};

struct GapDecision {
  Treatment treatment = Treatment::off;
  Rationale rationale;
  std::vector<GapAction> actions;  // ascending
  std::optional<double> preheat_after_s;
  double floor_c = 0;  // what it cools towards before
};

[[nodiscard]] GapDecision decide_gap(const GapContext& context, const rules::GapSettings& gap,
                                     const LeadTimeModel& lead_time, rules::Policy policy);

}  // namespace forewarm::plan
