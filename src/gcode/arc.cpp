#include "gcode/arc.h"

#include <cmath>
#include <numbers>

namespace forewarm::gcode {

std::array<int, 3> axes_of(Plane plane) {
  switch (plane) {
    case Plane::zx:
      return {2, 0, 1};
    case Plane::yz:
      return {1, 2, 0};
    case Plane::xy:
      break;
  }
  return {0, 1, 2};
}

Arc arc_by_centre(double delta_a, double delta_b, double rise, double i, double j, bool clockwise) {
  Arc arc;
  arc.centre_a = i;
  arc.centre_b = j;
  arc.radius_mm = std::hypot(i, j);
  arc.radius_gap_mm = std::abs(std::hypot(delta_a - i, delta_b - j) - arc.radius_mm);
  const double turn = 2 * std::numbers::pi;
  // Sums of relative moves miss the start by their rounding.
  constexpr double kSamePlaceMm = 1e-7;
  if (std::hypot(delta_a, delta_b) < kSamePlaceMm) {
    arc.sweep = clockwise ? -turn : turn;
  } else {
    arc.sweep = std::atan2(delta_b - j, delta_a - i) - std::atan2(-j, -i);
    if (clockwise && arc.sweep >= 0) arc.sweep -= turn;
    if (!clockwise && arc.sweep <= 0) arc.sweep += turn;
  }
  arc.length_mm = std::hypot(arc.radius_mm * arc.sweep, rise);
  return arc;
}

std::optional<Arc> arc_by_radius(double delta_a, double delta_b, double rise, double r,
                                 bool clockwise) {
  constexpr double kSlackMm = 0.002;
  const double chord = std::hypot(delta_a, delta_b);
  if (chord == 0 || r == 0 || chord > 2 * std::abs(r) + kSlackMm) return std::nullopt;
  const double half = chord / 2;
  const double away = std::sqrt(std::max(0.0, r * r - half * half));  // centre from the chord
  // The centre lies left of the chord for a short counter-clockwise arc, and right of it for a
  // short clockwise one; a negative radius takes the other side.
  const double side = (clockwise ? -1.0 : 1.0) * (r > 0 ? 1.0 : -1.0);
  const double i = delta_a / 2 - side * away * delta_b / chord;
  const double j = delta_b / 2 + side * away * delta_a / chord;
  return arc_by_centre(delta_a, delta_b, rise, i, j, clockwise);
}

}  // namespace forewarm::gcode
