#include <algorithm>
#include <cmath>

#include "motion/move_timer.h"

namespace forewarm::motion {

std::uint64_t chords_of(const gcode::Arc& a) {
  constexpr double kChordMm = 1.0;
  constexpr double kShortestMm = 0.1;
  constexpr double kPerTurn = 24;
  // Once round any plate: a short line that says it is a kilometre must not cost more than that.
  constexpr double kMaxPieces = 2000;
  double pieces = std::max(a.length_mm / kChordMm, std::abs(a.sweep) / 6.283185307 * kPerTurn);
  pieces = std::ceil(std::clamp(std::min(pieces, a.length_mm / kShortestMm), 1.0, kMaxPieces));
  return std::uint64_t(pieces);
}

void move_along(MoveTimer& clock, const Move& whole, const gcode::Arc& a, gcode::Plane plane,
                std::uint64_t tag) {
  const auto pieces = double(chords_of(a));
  const auto axes = gcode::axes_of(plane);
  const auto ia = std::size_t(axes[0]);
  const auto ib = std::size_t(axes[1]);
  const double start = std::atan2(-a.centre_b, -a.centre_a);
  Move m = whole;
  m.length_mm = a.length_mm / pieces;
  for (std::size_t d = 0; d < 4; ++d) m.delta[d] = whole.delta[d] / pieces;
  double cos_from = std::cos(start);
  double sin_from = std::sin(start);
  for (double i = 0; i < pieces; ++i) {
    const double to = start + a.sweep * (i + 1) / pieces;
    const double cos_to = std::cos(to);
    const double sin_to = std::sin(to);
    m.delta[ia] = a.radius_mm * (cos_to - cos_from);
    m.delta[ib] = a.radius_mm * (sin_to - sin_from);
    cos_from = cos_to;
    sin_from = sin_to;
    clock.move(m, tag);
  }
}

}  // namespace forewarm::motion
