// Times the moves of a job, fills its index, and gives its places their times.
//
// A place that is met before its time is known (a target, the first move of a use, the first print
// move) gets the time at which the next move begins. Lifetime: the job outlives it.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <utility>

#include "gcode/arc.h"
#include "job/flow_watch.h"
#include "job/job.h"
#include "machine/pending_events.h"
#include "motion/move_timer.h"

namespace forewarm::job {

class JobTimer final : private motion::MoveTimer::Listener {
 public:
  JobTimer(const rules::Motion& motion, Job& job);

  // Moves are told to it by the caller, and timed here.
  [[nodiscard]] FlowWatch& flow() { return flow_; }
  [[nodiscard]] std::uint64_t moves_taken() const { return timer_.moves_taken(); }

  // A straight move of the line at `offset`.
  void move(const std::array<double, 4>& delta, double feed_mm_s, std::uint64_t offset) {
    const motion::Move move{delta, motion::Move::kStraight, feed_mm_s};
    timer_.move(move, tag(offset, delta[gcode::kE] != 0));
    if (through_) go_through(move);
  }
  void move_along(const gcode::Arc& arc, gcode::Plane plane, const std::array<double, 4>& delta,
                  double feed_mm_s, std::uint64_t offset);
  // However far the firmware pulls, and be it nothing.
  void firmware_retraction(bool forwards, std::uint64_t offset);

  // Motion comes to rest for a line, or for the end of the job behind the last one.
  void stop(std::uint64_t line);
  // It does so for a line that may be taken out of the job: what the stop takes becomes the rest_s
  // of its target.
  void stop_for_target(std::uint64_t line);
  // REQUIRES of these: motion is at rest.
  [[nodiscard]] double now_s() const { return timer_.now_s(); }
  // By the line at `offset`.
  void pass(double seconds, std::uint64_t offset) {
    if (through_) end_through();
    takes({offset, now_s()}, seconds);
    timer_.pass(seconds);
  }
  // What was met so far happens now.
  void settle() { settle(timer_.now_s()); }
  [[nodiscard]] double motion_s() const { return timer_.moving_s(); }
  // What the moves take that may have been held when the line was read for which motion last came
  // to rest, be it once or several times: see ToolChange::held_s. REQUIRES: motion is at rest.
  [[nodiscard]] double held_s() const { return held_s_; }
  // When the last move of filament was over.
  [[nodiscard]] double filament_until_s() const { return filament_until_s_; }

  // Each gets its time once that is known. `which`: of job.targets, job.uses or
  // job.spool_ends.
  void time_target(std::size_t which) { add(Field::target, which); }
  void time_use(std::size_t which) { add(Field::use_first, which); }
  void time_start() { add(Field::start, 0); }
  void time_spool_end(std::size_t which) { add(Field::spool_end, which); }

  [[nodiscard]] motion::Limits& limits() {
    if (through_) end_through();
    return timer_.limits();
  }
  [[nodiscard]] const motion::Limits& limits() const { return timer_.limits(); }

 private:
  void takes(Place line, double seconds) {
    if (seconds > job_.longest_line.seconds) job_.longest_line = {line, seconds};
  }
  void rest(std::uint64_t line);
  enum class Field : std::uint8_t { target, use_first, start, spool_end };
  struct Untimed {
    Field field;
    std::size_t which;
  };

  // Of a move: its place, and whether filament goes with it.
  static std::uint64_t tag(std::uint64_t offset, bool filament) {
    return offset << 1U | std::uint64_t(filament);
  }
  void timed(std::span<const motion::Timed> moves) override;
  void add(Field field, std::size_t which) { pending_.add(timer_.moves_taken(), {field, which}); }
  void settle(double time_s);

  // The same motion without the last stop, until enough has come after it that the two go alike:
  // what they differ by then is what the stop takes.
  struct Deaf final : motion::MoveTimer::Listener {
    void timed(std::span<const motion::Timed> /*moves*/) override {}
  };
  static constexpr std::uint64_t kAlike = 512;  // moves
  void go_through(const motion::Move& move);
  void end_through();

  Job& job_;
  motion::MoveTimer timer_;
  Deaf deaf_;
  std::optional<motion::MoveTimer> through_;
  std::uint64_t through_line_ = 0, through_moves_ = 0;
  FlowWatch flow_;
  machine::PendingEvents<Untimed> pending_;
  std::uint64_t delivered_ = 0;             // moves that are timed
  std::uint64_t last_offset_ = UINT64_MAX;  // of a line with a move
  double line_at_s_ = 0;                    // where it began
  double filament_until_s_ = 0;
  std::array<double, kHeldMoves> latest_s_{};  // what moves took, by delivered_
  std::uint64_t rested_ = 0;                   // delivered_ where motion last came to rest
  std::uint64_t rested_line_ = 0;
  double held_s_ = 0;
};

}  // namespace forewarm::job
