// What bounds a machine's moves, and the commands by which a job changes it.
//
// Commands: RepRap convention M201 (acceleration, mm/s2), M203 (speed, mm/s), M204 (P print, T
// travel, R retract; S print and travel), M205 (X Y Z E jerk, J junction deviation, S T lowest
// speeds), M207 (firmware retraction), M220 (speed factor), M221 (flow factor), M566 (jerk,
// mm/min). Units: mm, s. Speeds above 2000 mm/s in an M203 are read as mm/min, which some firmware
// means. Machines whose corners go by the speed through a right angle have neither M205 nor M566:
// where that is in force, these set nothing.
#pragma once

#include <array>

#include "gcode/words.h"

namespace forewarm::motion {

struct Limits {
  std::array<double, 4> max_speed{300, 300, 12, 60};       // x y z e, mm/s
  std::array<double, 4> max_accel{3000, 3000, 200, 5000};  // mm/s2
  std::array<double, 4> jerk{8, 8, 0.4, 5};                // step of speed an axis may make, mm/s
  double junction_deviation = 0;                           // mm; > 0: instead of jerk
  // Speed at which a corner of 90 degrees is taken, mm/s; > 0: instead of both.
  double right_angle = 0;
  double accel_print = 1500, accel_travel = 1500, accel_retract = 1500;
  double min_print_speed = 0, min_travel_speed = 0;
  double speed_factor = 1, flow_factor = 1;
  double retract_mm = 0, retract_mm_s = 35, unretract_mm_s = 35;  // of G10/G11
  bool operator==(const Limits&) const = default;

  // Takes over what a line sets; false if it sets nothing here.
  bool take(const gcode::Words& words);
  // Whether a line says how corners are taken in a way that such a machine does not have. take()
  // takes nothing of it over.
  [[nodiscard]] bool leaves_aside(const gcode::Words& words) const {
    return right_angle > 0 && (words.is('M', 205) || words.is('M', 566));
  }
};

}  // namespace forewarm::motion
