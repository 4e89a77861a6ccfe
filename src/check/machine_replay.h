// The machine that runs the rewritten job: what is mounted, how long moves take, and its heaters.
//
// Moves are timed with look-ahead, so what happens between them is held back until its moment is
// known. Seconds are those of the rewritten job, waits included. `line` numbers a line of the
// rewritten text; inserted lines and the job's that follows them share one, as a command can only
// stand before them all. What is wrong with the heaters goes to `findings`. Lifetime: all that is
// given outlives it.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <utility>
#include <variant>

#include "check/finding.h"
#include "check/heads.h"
#include "check/heaters.h"
#include "gcode/state.h"
#include "machine/pending_events.h"
#include "motion/move_timer.h"

namespace forewarm::check {

class MachineReplay final : private motion::MoveTimer::Listener {
 public:
  MachineReplay(const rules::Rules& rules, Heads& heads, Findings& findings);

  [[nodiscard]] ToolChanger& changer() { return changer_; }
  [[nodiscard]] motion::Limits& limits() { return timer_.limits(); }
  [[nodiscard]] const motion::Limits& limits() const { return timer_.limits(); }
  // Of what is timed so far: exact where motion is at rest.
  [[nodiscard]] double now_s() const { return timer_.now_s() + waited_s_; }
  [[nodiscard]] double waited_s() const { return waited_s_; }

  void move(const std::array<double, 4>& delta, double feed_mm_s, std::uint64_t line) {
    timer_.move({delta, motion::Move::kStraight, feed_mm_s}, tag(line, delta[gcode::kE] != 0));
  }
  // REQUIRES: e.arc.
  void move_along(const gcode::Effect& e, gcode::Plane plane, std::uint64_t line);
  // How far the firmware pulls (less than 0) or pushes.
  [[nodiscard]] double retraction_mm(bool forwards) const;
  void firmware_retraction(bool forwards, std::uint64_t line);
  // Motion comes to rest.
  void stop();
  void pass(double seconds, std::uint64_t line);

  // Lines were inserted here; planning begins with them if the first print move comes next.
  void prelude() { add(Prelude{}); }
  // The first print move comes, by `printing`.
  void start(bool with_prelude, std::size_t printing) { add(Start{with_prelude, printing}); }
  void command(std::size_t head, const HeaterCommand& command);
  void filament(const Heaters::Movement& movement) { add(movement); }
  // What was made up for before the movement that comes next, or the select.
  void made_up(const Heaters::MadeUp& made_up) { add(made_up); }
  // A line of a step sequence feeds.
  void feed_inserted(std::size_t head, std::uint64_t line) { add(InsertedFeed{head, line}); }
  // What is mounted, if anything, is in use up to here.
  void used_until_here(std::uint64_t line);
  // REQUIRES: motion is at rest. `original_c`: the original's target of what is selected.
  void select(const Selected& selected, int tool, double original_c, std::uint64_t line) {
    heaters_.select(now_s(), selected, tool, original_c, line);
  }
  // The job stops until somebody goes on.
  void pause(std::uint64_t line) {
    stop();
    heaters_.pause(now_s(), line);
  }
  void finish();

 private:
  struct Prelude {};
  struct Start {
    bool with_prelude;
    std::size_t printing;
  };
  struct Command {
    std::size_t head;
    HeaterCommand command;
  };
  struct InsertedFeed {
    std::size_t head;
    std::uint64_t line;
  };
  struct UsedUntil {
    std::size_t head;
    std::uint64_t line;
  };
  using Event = std::variant<Prelude, Start, Command, Heaters::Movement, Heaters::MadeUp,
                             InsertedFeed, UsedUntil>;

  // Of a move: its line, and whether filament goes with it.
  static std::uint64_t tag(std::uint64_t line, bool filament) {
    return line << 1U | std::uint64_t(filament);
  }
  void timed(std::span<const motion::Timed> moves) override;
  void add(const Event& event) { pending_.add(timer_.moves_taken(), event); }
  void settle(double timer_s);
  void happen(const Prelude& event, double at_s);
  void happen(const Start& event, double at_s);
  void happen(const Command& event, double at_s);
  void happen(const Heaters::Movement& event, double at_s);
  void happen(const Heaters::MadeUp& event, double at_s);
  void happen(const InsertedFeed& event, double at_s);
  void happen(const UsedUntil& event, double at_s);

  ToolChanger changer_;
  Heaters heaters_;
  motion::MoveTimer timer_;
  machine::PendingEvents<Event> pending_;
  std::uint64_t delivered_ = 0;  // moves that are timed
  double waited_s_ = 0;          // for heaters
  // The line that is under way, for LongLines.
  std::uint64_t line_tag_ = UINT64_MAX;
  double line_from_s_ = 0;
};

}  // namespace forewarm::check
