#include "motion/limits.h"

#include <algorithm>
#include <cmath>

namespace forewarm::motion {

namespace {
constexpr std::array<char, 4> kAxes{'X', 'Y', 'Z', 'E'};

// Zero and less are not limits, and what no machine comes near would turn times into infinities.
bool usable(double v) { return v >= 1e-6 && v <= 1e9; }

void take_axes(const gcode::Words& w, std::array<double, 4>& into, double factor) {
  for (std::size_t a = 0; a < 4; ++a) {
    if (w.given(kAxes[a]) && usable(w.value(kAxes[a]))) into[a] = w.value(kAxes[a]) * factor;
  }
}
void take_one(const gcode::Words& w, char letter, double& into) {
  if (w.given(letter) && usable(w.value(letter))) into = w.value(letter);
}
// For what may be none at all.
void take_one_or_none(const gcode::Words& w, char letter, double& into) {
  if (w.given(letter) && (w.value(letter) == 0 || usable(w.value(letter)))) into = w.value(letter);
}
}  // namespace

bool Limits::take(const gcode::Words& w) {
  constexpr double kFastestMmS = 2000;
  const double command = w.value_or('M', -1);
  if (!(command >= 0 && command < 1000 && command == std::floor(command))) return false;
  if (leaves_aside(w)) return false;
  switch (int(command)) {
    case 201:
      take_axes(w, max_accel, 1);
      return true;
    case 203: {
      double top = 0;
      for (const char a : kAxes) top = std::max(top, w.value_or(a, 0));
      take_axes(w, max_speed, top > kFastestMmS ? 1.0 / 60 : 1.0);
      return true;
    }
    case 204:
      if (w.given('S')) {
        take_one(w, 'S', accel_print);
        take_one(w, 'S', accel_travel);
        take_one(w, 'T', accel_retract);  // the older form: S moves, T filament alone
      } else {
        take_one(w, 'P', accel_print);
        take_one(w, 'R', accel_retract);
        take_one(w, 'T', accel_travel);
      }
      return true;
    case 205:
      if (w.given('J')) {
        take_one(w, 'J', junction_deviation);
      } else if (w.given('X') || w.given('Y')) {
        junction_deviation = 0;
      }
      take_axes(w, jerk, 1);
      if (w.given('X') && !w.given('Y')) jerk[1] = jerk[0];
      take_one_or_none(w, 'S', min_print_speed);
      take_one_or_none(w, 'T', min_travel_speed);
      return true;
    case 207:
      take_one_or_none(w, 'S', retract_mm);
      if (w.given('F') && usable(w.value('F'))) retract_mm_s = unretract_mm_s = w.value('F') / 60;
      if (w.given('T') && usable(w.value('T'))) unretract_mm_s = w.value('T') / 60;
      return true;
    case 220:
      if (w.given('S') && usable(w.value('S'))) speed_factor = w.value('S') / 100;
      return true;
    case 221:
      if (w.given('S') && usable(w.value('S'))) flow_factor = w.value('S') / 100;
      return true;
    case 566:
      take_axes(w, jerk, 1.0 / 60);
      return true;
    default:
      return false;
  }
}

}  // namespace forewarm::motion
