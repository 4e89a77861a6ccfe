// By how much heat-ups of one heater differ: what full drive adds to ambient, of each by itself, as
// a share of what it adds in all of them.
//
// The time constant, the dead time and ambient are those of the fit of them all: what is left of
// one heat-up, its start and its rise, is linear. What the noise of its readings does to the rise
// is taken out. What the model does not say counts, as whoever plans by it is concerned with that,
// too.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "thermal/fit.h"

namespace forewarm::record {

struct RiseSpread {
  double share = 0;          // a standard deviation
  std::size_t heat_ups = 0;  // that tell their rise to kTellsRise
};
inline constexpr double kTellsRise = 0.05;

// Nothing where fewer than two tell it. REQUIRES: their drive is known, `fit` is theirs.
[[nodiscard]] std::optional<RiseSpread> spread_of_rises(
    const std::vector<thermal::Stretch>& heat_ups, const thermal::Fit& fit);

}  // namespace forewarm::record
