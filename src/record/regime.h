// A stretch in which something changed midway, such as a fan that was switched on: the part of it
// that is of one piece.
//
// Where two curves, each with constants of its own, fit the two sides of some moment very much
// better than one curve fits all, the side that spans more temperature is kept. Chance does not do
// that: the sum of squares has to fall below kBetter of what it was, from an rms of more
// than kFineShare of the span: a second lag, which bends the beginning, does less.
#pragma once

#include "thermal/fit.h"

namespace forewarm::record {

inline constexpr double kBetter = 0.06, kFineShare = 0.005;

// Says whether anything was taken away. Time is bounded, however long the stretch is.
[[nodiscard]] bool keep_one_regime(thermal::Stretch& stretch, std::optional<double> ambient_c);

}  // namespace forewarm::record
