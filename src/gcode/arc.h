// Circular arcs: G2 (clockwise) and G3 in the plane of G17, G18 or G19.
//
// Geometry: NISTIR 6556 section 3.5.3. By centre: I J K are offsets from the start; a start equal
// to the end is a full circle. By radius: R > 0 turns at most 180 degrees, R < 0 more. A start and
// an end whose radii differ are taken at the start's radius; callers may compare `radius_gap_mm`
// with the standard's 0.002 mm. Units: millimetres, radians.
#pragma once

#include <array>
#include <optional>

namespace forewarm::gcode {

enum class Plane : unsigned char { xy, zx, yz };

struct Arc {
  double centre_a = 0, centre_b = 0;  // in the plane's two axes, relative to the start
  double radius_mm = 0;
  double sweep = 0;      // > 0 counter-clockwise
  double length_mm = 0;  // along the helix
  double radius_gap_mm = 0;
};

// The plane's first and second axis and the one across, as indexes into x y z.
[[nodiscard]] std::array<int, 3> axes_of(Plane plane);

// `delta_a`, `delta_b`: end minus start in the plane; `rise`: along the third axis.
[[nodiscard]] Arc arc_by_centre(double delta_a, double delta_b, double rise, double i, double j,
                                bool clockwise);
// Nothing if the ends coincide or lie farther apart than 2 |r| (more than the standard's slack).
[[nodiscard]] std::optional<Arc> arc_by_radius(double delta_a, double delta_b, double rise,
                                               double r, bool clockwise);

}  // namespace forewarm::gcode
