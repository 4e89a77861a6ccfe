// Moves to seconds: trapezoidal speed profiles with look-ahead over the corners between moves.
//
// Each move is bounded by its feed, the axes' speeds and accelerations and the acceleration of its
// kind. At a corner the speed is bounded by jerk (no axis' speed steps by more than its own), by
// junction deviation or by the speed through a right angle. The latter two go by the circle that
// touches both legs, whose radius is R = delta*s/(1-s), s = sin(theta/2), theta the angle between
// the two legs (180 degrees: straight on), as the external distance of a route curve in surveying
// (Ghilani & Wolf, Elementary Surveying). Junction deviation has delta, and v^2 = a*R; the speed
// v90 through a right angle has a*delta = v90^2 * (sqrt(2) - 1), whatever a is. Profiles: Biagiotti
// & Melchiorri, Trajectory Planning for Automatic Machines and Robots, ch. 3. Motion starts and
// ends at rest, or within jerk of it.
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
#include "motion/lanes.h"
#include "motion/limits.h"

namespace forewarm::motion {

struct Move {
  static constexpr double kStraight = -1;
  std::array<double, 4> delta{};  // x y z e
  // Of the path in x y z; 0 for the filament alone. kStraight: as its delta says.
  double length_mm = 0;
  double feed_mm_s = 0;
};

struct Timed {
  std::uint64_t tag = 0;
  double start_s = 0;
  double seconds = 0;
};

class MoveTimer {
 public:
  class Listener {
   public:
    virtual ~Listener() = default;
    virtual void timed(std::span<const Timed> moves) = 0;
  };
  static constexpr std::size_t kBatch = kLanes;
  static constexpr std::size_t kMost = 2048;

  MoveTimer(const Limits& limits, Listener& listener, double time_scale = 1.0);
  // Goes on from where the other is, and tells another listener.
  MoveTimer(const MoveTimer& other, Listener& listener);

  // To be changed: for the moves to come.
  [[nodiscard]] Limits& limits() {
    take_over();
    stale_ = true;
    return limits_;
  }
  [[nodiscard]] const Limits& limits() const { return limits_; }
  void move(const Move& move, std::uint64_t tag) {
    ++taken_;
    const auto& d = move.delta;
    double square = move.length_mm < 0 ? d[0] * d[0] + d[1] * d[1] + d[2] * d[2]
                                       : move.length_mm * move.length_mm;
    Rates::Kind kind = d[3] > 0 ? Rates::kPrints : Rates::kTravels;
    if (!(square > 0)) {
      kind = Rates::kFilamentAlone;
      square = d[3] * d[3];
      if (!(square > 0)) return nowhere(tag);
    }
    if (stale_) derive();
    const std::size_t at = fresh_++;
    for (std::size_t a = 0; a < 4; ++a) lanes_.delta[a][at] = d[a];
    lanes_.square[at] = square;
    const double feed = move.feed_mm_s * rates_.speed_factor;
    lanes_.feed[at] = feed > rates_.least_speed[kind] ? feed : rates_.least_speed[kind];
    lanes_.accel_asked[at] = rates_.accel[kind];
    tag_[waiting_ + at] = tag;
    if (waiting_ + fresh_ >= settle_at_) settle(false);
  }
  // Whether moves were given since the last stop.
  [[nodiscard]] bool moves() const { return moving_ || fresh_ > 0; }
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
  using Column = std::vector<double>;
  void make_room(std::size_t moves);  // and settle when so many wait
  void derive();
  void take_over();
  void nowhere(std::uint64_t tag);
  void settle(bool at_end);
  void deliver(std::size_t count, double exit2);

  Limits limits_;
  bool stale_ = true;  // rates_ has to be derived from limits_
  Rates rates_;
  Listener& listener_;
  double time_scale_;
  double now_s_ = 0, moving_s_ = 0;
  std::uint64_t taken_ = 0;
  double entry2_ = 0;  // square of the speed at which the first waiting move is entered
  bool moving_ = false;
  // Moves that wait, the first `waiting_` with what bounds them; `fresh_` after them, in lanes_,
  // only as given. Speeds by their squares, in which acceleration over a way adds up:
  // v1^2 = v0^2 + 2 a d.
  std::size_t waiting_ = 0, fresh_ = 0;
  std::size_t settle_at_ = kBatch;
  Lanes lanes_;
  Column length_, accel_, cruise_, gain2_, entry_most2_;
  Column entry2_of_;  // what deceleration after it allows, too
  std::vector<std::uint64_t> tag_;
  Column v0_2_, v1_2_, seconds_;  // of moves to be delivered
  std::vector<Timed> out_;
};

// An arc in chords, about as fine as machines cut it, at the arc's own length. `whole`: of the move
// from end to end; its length_mm is not read.
void move_along(MoveTimer& clock, const Move& whole, const gcode::Arc& arc, gcode::Plane plane,
                std::uint64_t tag);
// How many moves that makes.
[[nodiscard]] std::uint64_t chords_of(const gcode::Arc& arc);

}  // namespace forewarm::motion
