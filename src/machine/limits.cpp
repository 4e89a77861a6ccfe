#include "machine/limits.h"

namespace forewarm::machine {

motion::Limits initial_limits(const rules::Motion& motion) {
  motion::Limits limits;
  limits.max_speed = motion.max_speed_mm_s;
  limits.max_accel = motion.max_accel_mm_s2;
  limits.jerk = motion.jerk_mm_s;
  limits.junction_deviation = motion.junction_deviation_mm.value_or(0);
  limits.right_angle = motion.right_angle_mm_s.value_or(0);
  limits.accel_print = limits.accel_travel = limits.accel_retract = motion.accel_mm_s2;
  return limits;
}

}  // namespace forewarm::machine
