// What a gap costs, and what no plan can better in it.
//
// Pure; seconds from the gap's start, degrees Celsius, joules; costs in the currency of [gap].
#pragma once

#include "plan/gap_context.h"
#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

// What a gap costs in which the heater cools towards `floor_c` from the start and is preheated at
// `preheat_s`, until its first deadline: hot idle, energy and restart by the weights of [gap].
struct GapCost {
  double hot_idle_s = 0, energy_j = 0;
  bool restart = false;
  double cost = 0;
};
[[nodiscard]] GapCost cost_of(const GapContext& context, const rules::GapSettings& gap,
                              double floor_c, double preheat_s);

// The gap length from which on off costs less than standby, for a heater that comes from `work_c`
// and goes back there; infinity if it never does. Between states of rate r and a wake-up cost of b
// the break-even is b/r (Albers, Energy-Efficient Algorithms, CACM 53(5), 2010); here rate and cost
// follow from the heater.
[[nodiscard]] double break_even_s(const thermal::Hotend& hotend, double work_c, double standby_c,
                                  const rules::GapSettings& gap);

// The gap at its physical best: how long the heater must be hot, how late it must be. `until_s` is
// when the toolhead is picked.
struct GapBound {
  double hot_idle_s = 0, late_s = 0;
};
[[nodiscard]] GapBound physical_bound(const GapContext& context, double until_s);

}  // namespace forewarm::plan
