// Plans moves as a controller does that holds a few of them: each begins as fast as the corner
// before it allows and as the moves after it, up to the last that is held, can still be slowed down
// to rest.
//
// Corners, by s = sin(theta/2), theta being the angle between the legs (straight on: 180 degrees):
//   right_angle  v^2 = r^2 (sqrt(2) - 1) s/(1 - s), whatever the acceleration; r at 90 degrees
//   deviation    v^2 = a d s/(1 - s)
//   jerk         no axis changes its speed by more than its jerk
// and never more than either leg's own speed. Units: mm, s.
#pragma once

#include <array>
#include <deque>
#include <functional>
#include <vector>

#include "description.h"

namespace simulated {

struct Move {
  std::array<double, 4> direction{};  // x y z e, for each mm of length
  double length_mm = 0;               // of the path; of filament, where nothing else moves
  double speed_mm_s = 0, accel_mm_s2 = 0;
  double feed_mm = 0;                       // of filament, either way
  bool travels = false;                     // x, y or z move
  double wanted_c = 0;                      // what its nozzle has to be at
  std::vector<std::function<void()>> then;  // done once it is over
  double entry_most_mm_s = 0;               // filled in by the queue
};

// Seconds for a straight move: trapezoid, or triangle where it is too short.
double seconds_of(double length_mm, double from_mm_s, double to_mm_s, double speed_mm_s,
                  double accel_mm_s2);

class MotionQueue {
 public:
  explicit MotionQueue(const MotionKind& kind) : kind_(kind) {}

  [[nodiscard]] bool empty() const { return moves_.empty(); }
  [[nodiscard]] bool full() const { return int(moves_.size()) >= kind_.look_ahead; }
  void push(Move move);  // REQUIRES: !full()
  // Takes the oldest out; `seconds` is what it takes, those behind it being all there is.
  Move pop(double& seconds);
  Move& last() { return moves_.back(); }
  MotionKind& kind() { return kind_; }
  [[nodiscard]] double corner_mm_s(const Move& before, const Move& after) const;

 private:
  MotionKind kind_;
  std::deque<Move> moves_;
  double entry_mm_s_ = 0;  // of the oldest
  Move before_;            // the last that was pushed, for its direction
};

}  // namespace simulated
