#include "motion_queue.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace simulated {

double seconds_of(double length_mm, double from_mm_s, double to_mm_s, double speed_mm_s,
                  double accel_mm_s2) {
  const double squares = from_mm_s * from_mm_s + to_mm_s * to_mm_s;
  const double peak = std::min(speed_mm_s, std::sqrt(accel_mm_s2 * length_mm + squares / 2));
  const double changing_mm = (2 * peak * peak - squares) / (2 * accel_mm_s2);
  return (2 * peak - from_mm_s - to_mm_s) / accel_mm_s2 +
         std::max(0.0, length_mm - changing_mm) / peak;
}

double MotionQueue::corner_mm_s(const Move& before, const Move& after) const {
  const double most = std::min(before.speed_mm_s, after.speed_mm_s);
  if (kind_.corner == "jerk") {
    double speed = most;
    for (std::size_t axis = 0; axis < 4; ++axis) {
      const double change = std::abs(after.direction[axis] - before.direction[axis]);
      if (change * speed > kind_.jerk_mm_s[axis]) speed = kind_.jerk_mm_s[axis] / change;
    }
    return speed;
  }
  if (!before.travels || !after.travels) return 0;
  double along = 0;
  for (std::size_t axis = 0; axis < 3; ++axis)
    along += before.direction[axis] * after.direction[axis];
  const double s = std::sqrt(std::clamp((1 + along) / 2, 0.0, 1.0));
  if (s > 1 - 1e-9) return most;
  const double bend = s / (1 - s);
  const double accel = std::min(before.accel_mm_s2, after.accel_mm_s2);
  const double square =
      kind_.corner == "deviation"
          ? accel * kind_.deviation_mm * bend
          : kind_.right_angle_mm_s * kind_.right_angle_mm_s * (std::sqrt(2.0) - 1) * bend;
  return std::min(most, std::sqrt(square));
}

void MotionQueue::push(Move move) {
  move.entry_most_mm_s = moves_.empty() ? 0 : corner_mm_s(before_, move);
  before_.direction = move.direction;
  before_.speed_mm_s = move.speed_mm_s;
  before_.accel_mm_s2 = move.accel_mm_s2;
  before_.travels = move.travels;
  if (moves_.empty()) entry_mm_s_ = 0;
  moves_.push_back(std::move(move));
}

Move MotionQueue::pop(double& seconds) {
  double exit = 0;  // the last one held ends at rest
  for (std::size_t i = moves_.size(); i-- > 1;) {
    const Move& m = moves_[i];
    exit = std::min(m.entry_most_mm_s, std::sqrt(exit * exit + 2 * m.accel_mm_s2 * m.length_mm));
  }
  Move move = std::move(moves_.front());
  moves_.pop_front();
  const double reach = std::sqrt(entry_mm_s_ * entry_mm_s_ + 2 * move.accel_mm_s2 * move.length_mm);
  exit = std::min(exit, reach);
  seconds = kind_.time_factor *
            seconds_of(move.length_mm, entry_mm_s_, exit, move.speed_mm_s, move.accel_mm_s2);
  entry_mm_s_ = exit;
  return move;
}

}  // namespace simulated
