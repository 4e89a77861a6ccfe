// The last preheat that still meets every deadline of a gap in which the heater cools towards a
// floor.
//
// Cooling starts at the beginning of the gap; reheating starts at the last insertion point that
// meets every deadline. Neither cooling later nor reheating earlier is cheaper, because cost grows
// with temperature.
#pragma once

#include "plan/gap_context.h"
#include "plan/lead_time.h"

namespace forewarm::plan {

struct PreheatOption {
  double floor_c = 0;
  bool in_time = false, has_line = false;
  double asked_s = 0;                              // the last moment that the deadlines allow
  double preheat_s = 0;                            // ... and at which a command can stand
  const GapContext::Deadline* deadline = nullptr;  // the one that decides
  bool for_power = false;                          // moved for the heating limit
  [[nodiscard]] bool possible() const { return in_time && has_line; }
};

// REQUIRES: there are deadlines; the context outlives the option.
[[nodiscard]] PreheatOption preheat_option(const GapContext& context,
                                           const LeadTimeModel& lead_time, double floor_c);

}  // namespace forewarm::plan
