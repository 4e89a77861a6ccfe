// How far below its target a heater's drive begins to fall: approach_c, in two ways.
//
// Both are pure, take the heater's constants from `fit`, and give nothing where the record does not
// tell it. REQUIRES: fit.rise_c is above 0.
#pragma once

#include <optional>

#include "record/stretches.h"
#include "thermal/fit.h"

namespace forewarm::record {

// By what makes climbs take as long as they took: a controller is more than its proportional part,
// and whoever waits for a heater is concerned with times. Full drive ends approach_c below the
// target; from there what is left to it decays with tau/(1 + (full - target)/approach_c), down to
// reached_c. It takes kLeastClimbs of more than kMostApproachC. REQUIRES: heater.reached_c > 0.
inline constexpr std::size_t kLeastClimbs = 5;
inline constexpr double kMostApproachC = 35;
[[nodiscard]] std::optional<thermal::Estimate> approach_by_climbs(const HeaterStretches& heater,
                                                                  const thermal::Fit& fit);

// By the drive near the target, which falls linearly to what holds it:
// u - hold = (1 - hold) (target - T)/approach_c, by least squares through the origin.
[[nodiscard]] std::optional<thermal::Estimate> approach_by_drive(const HeaterStretches& heater,
                                                                 const thermal::Fit& fit);

}  // namespace forewarm::record
