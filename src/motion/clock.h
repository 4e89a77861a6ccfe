// Moves to seconds: trapezoidal speed profiles with look-ahead over the corners between moves.
//
// Each move is bounded by its feed, the axes' speeds and accelerations and the acceleration of its
// kind. At a corner the speed is bounded by jerk (no axis' speed steps by more than its own) or by
// junction deviation, v^2 = a*R with R = delta*s/(1-s), s = sin(theta/2), theta the angle between
// the two moves (180 degrees: straight on). Profiles: Biagiotti & Melchiorri, Trajectory Planning
// for Automatic Machines and Robots, ch. 3. Motion starts and ends at rest, or within jerk of it.
//
// A move's time is final once no later move can change it; results come in batches, in order.
// Memory is bounded by kMost waiting moves: if none of that many is certain, the older half is
// timed as if the path ended where it is known to. Units: mm, s.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "gcode/arc.h"
#include "motion/limits.h"

namespace forewarm::motion {

struct Move {
  std::array<double, 4> delta{};  // x y z e
  double length_mm = 0;           // of the path in x y z; 0 for the filament alone
  double feed_mm_s = 0;
};

struct Timed {
  std::uint64_t tag = 0;
  double start_s = 0;
  double seconds = 0;
};

// Time of one trapezoid; v0, v1 <= v. REQUIRES: |v0^2 - v1^2| <= 2 a d (to rounding), a > 0.
[[nodiscard]] double profile_seconds(double d, double v0, double v1, double v, double a);

class Clock {
 public:
  class Listener {
   public:
    virtual ~Listener() = default;
    virtual void timed(std::span<const Timed> moves) = 0;
  };
  static constexpr std::size_t kBatch = 128;
  static constexpr std::size_t kMost = 2048;

  Clock(const Limits& limits, Listener& listener, double time_scale = 1.0);

  // To be changed: what follows from them is worked out again before the next move.
  [[nodiscard]] Limits& limits() {
    stale_ = true;
    return limits_;
  }
  [[nodiscard]] const Limits& limits() const { return limits_; }
  void move(const Move& move, std::uint64_t tag);
  // Comes to a stop; everything given so far is timed and delivered.
  void stop();
  // stop(), then `seconds` pass (not scaled).
  void pass(double seconds);
  // REQUIRES: stopped. Seconds since the start.
  [[nodiscard]] double now_s() const { return now_s_; }
  // Seconds of moves alone, over what is timed.
  [[nodiscard]] double moving_s() const { return moving_s_; }
  [[nodiscard]] std::uint64_t moves_taken() const { return taken_; }

 private:
  // Speeds by their squares, in which acceleration over a way adds up: v1^2 = v0^2 + 2 a d.
  struct Block {
    double length, accel, cruise;
    double gain2;        // 2 a d
    double entry_most2;  // what the corner before it allows
    double entry2;       // what deceleration after it allows, too
    std::uint64_t tag;
  };
  void derive();
  void settle(bool at_end);
  void deliver(std::size_t count, double exit2);

  Limits limits_;
  bool stale_ = true;  // the next three have to be derived from limits_
  std::array<double, 4> per_speed_{}, per_accel_{}, per_jerk_{};  // one over each axis' limit
  Listener& listener_;
  double time_scale_;
  double now_s_ = 0, moving_s_ = 0;
  std::uint64_t taken_ = 0;
  double entry2_ = 0;  // square of the speed at which the first waiting block is entered
  std::vector<Block> waiting_;
  std::vector<Timed> out_;
  std::size_t settle_at_ = kBatch;
  // The move before, for the corner.
  bool has_last_ = false;
  std::array<double, 4> last_unit_{};
  double last_cruise_ = 0, last_safe_ = 0, last_accel_ = 0;
};

// An arc in chords, about as fine as machines cut it, at the arc's own length. `whole`: of the move
// from end to end; its length_mm is not read.
void move_along(Clock& clock, const Move& whole, const gcode::Arc& arc, gcode::Plane plane,
                std::uint64_t tag);

}  // namespace forewarm::motion
