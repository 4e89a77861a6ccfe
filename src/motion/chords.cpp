#include <algorithm>
#include <cmath>

#include "motion/clock.h"

namespace forewarm::motion {

void move_along(Clock& clock, const Move& whole, const gcode::Arc& a, gcode::Plane plane,
                std::uint64_t tag) {
  constexpr double kChordMm = 1.0;
  constexpr double kShortestMm = 0.1;
  constexpr double kPerTurn = 24;
  double pieces = std::max(a.length_mm / kChordMm, std::abs(a.sweep) / 6.283185307 * kPerTurn);
  pieces = std::ceil(std::clamp(std::min(pieces, a.length_mm / kShortestMm), 1.0, 20000.0));
  const auto axes = gcode::axes_of(plane);
  const auto ia = std::size_t(axes[0]);
  const auto ib = std::size_t(axes[1]);
  const double start = std::atan2(-a.centre_b, -a.centre_a);
  Move m = whole;
  m.length_mm = a.length_mm / pieces;
  for (std::size_t d = 0; d < 4; ++d) m.delta[d] = whole.delta[d] / pieces;
  for (double i = 0; i < pieces; ++i) {
    const double from = start + a.sweep * i / pieces;
    const double to = start + a.sweep * (i + 1) / pieces;
    m.delta[ia] = a.radius_mm * (std::cos(to) - std::cos(from));
    m.delta[ib] = a.radius_mm * (std::sin(to) - std::sin(from));
    clock.move(m, tag);
  }
}

}  // namespace forewarm::motion
