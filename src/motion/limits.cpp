#include "motion/limits.h"

namespace forewarm::motion {

namespace {
constexpr std::array<char, 4> kAxes{'X', 'Y', 'Z', 'E'};

void take_axes(const gcode::Words& w, std::array<double, 4>& into, double factor) {
  for (std::size_t a = 0; a < 4; ++a) {
    if (w.given(kAxes[a]) && w.value(kAxes[a]) > 0) into[a] = w.value(kAxes[a]) * factor;
  }
}
void take_one(const gcode::Words& w, char letter, double& into) {
  if (w.given(letter) && w.value(letter) > 0) into = w.value(letter);
}
}  // namespace

bool Limits::take(const gcode::Words& w) {
  constexpr double kFastestMmS = 2000;
  if (!w.given('M')) return false;
  switch (int(w.value('M'))) {
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
      if (w.given('S')) min_print_speed = w.value('S');
      if (w.given('T')) min_travel_speed = w.value('T');
      return true;
    case 207:
      if (w.given('S') && w.value('S') >= 0) retract_mm = w.value('S');
      if (w.given('F') && w.value('F') > 0) retract_mm_s = unretract_mm_s = w.value('F') / 60;
      if (w.given('T') && w.value('T') > 0) unretract_mm_s = w.value('T') / 60;
      return true;
    case 220:
      if (w.given('S') && w.value('S') > 0) speed_factor = w.value('S') / 100;
      return true;
    case 221:
      if (w.given('S') && w.value('S') > 0) flow_factor = w.value('S') / 100;
      return true;
    case 566:
      take_axes(w, jerk, 1.0 / 60);
      return true;
    default:
      return false;
  }
}

}  // namespace forewarm::motion
