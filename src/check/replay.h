// Plays the rewritten job through time: lines told to a machine become moves on a clock, orders to
// heaters, selects and feeding, each at its moment, waits included.
//
// The base of the check, which tells it lines (act) and what the original wants (wanted, fresh).
// Moves are timed with look-ahead, so what happens between them is held back until its moment is
// known. Findings go to report_.findings; a line that cannot be followed at all sets error_.
#pragma once

#include <deque>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.h"
#include "check/check.h"
#include "check/heaters.h"
#include "check/sequences.h"
#include "gcode/state.h"
#include "motion/move_timer.h"

namespace forewarm::check {

class Replay : public motion::MoveTimer::Listener {
 protected:
  enum class Side : std::uint8_t { job, inserted, added };

  Replay(const rules::Rules& rules, const Options& options);

  void timed(std::span<const motion::Timed> moves) override;

  void say(Id id, std::uint64_t number, std::string what) {
    report_.findings.add(id, number, std::move(what));
  }
  static std::string shown(std::string_view text) {
    return "\"" + printable(text.substr(0, 200), 80) + "\"";
  }

  double& wanted(std::size_t head) {
    if (wanted_.size() <= head) wanted_.resize(head + 1, 0);
    return wanted_[head];
  }
  // The original gives `temp_c` to a heater. An off takes its target away, but not at once its
  // heat: where filament is pulled before any is fed, that target is still what is wanted.
  void want(std::size_t head, double temp_c);
  [[nodiscard]] double wanted_of_pull(std::size_t head);
  // The original gives a target, waits, or both. What is mounted and waited for is used at that,
  // unless it has only to cool down.
  void original_target(std::size_t head, std::optional<double> temp_c, bool waits, bool cooling);
  double& lowest(std::size_t head) {
    if (lowest_.size() <= head) lowest_.resize(head + 1, 1e9);
    return lowest_[head];
  }
  char& fresh(std::size_t head) {
    if (fresh_.size() <= head) fresh_.resize(head + 1, 1);
    return fresh_[head];
  }

  void give(std::size_t head, std::optional<double> temp, bool waits, bool cooling, bool inserted);
  // Whether the original's heater is no hotter by now, by itself, if the time here tells.
  [[nodiscard]] bool has_cooled(std::size_t head, double temp_c);
  // The job's own wait for `head` to be at `temp_c` was removed; `before_c` was the original's
  // target. Another may have made sure of that, or still does before the visit is over.
  void wait_removed(std::size_t head, double temp_c, double before_c, bool cooling);
  void visit_over();
  // What lines put in are to `head`: steps_ is the sequence they are of.
  void step_given(std::size_t head, double fed_mm);

  void act(const InterpretedLine& line, Side side);
  void perform(const Operation& operation, const InterpretedLine& line, Side side);
  void set_target(const Operation& operation, Side side);

  void unserved(const std::string& what, Side side);

  void select(int tool, Side side);

  void part(std::size_t head);
  void pass(double seconds);

  void feed(bool forwards, double mm, Side side);

  // What lines put in pulled back has to be forward again before the job feeds.
  void balance();
  void balance_at_select(const Selected& s);
  double& tucked(std::size_t head) {
    if (tucked_.size() <= head) tucked_.resize(head + 1, 0);
    return tucked_[head];
  }

  void move(const InterpretedLine& told, Side side);
  void move(const std::array<double, 4>& way, double feed_mm_s, Side side);

  void used_until_here();  // the mounted toolhead
  void firmware_retraction(bool forwards, Side side);

  // --- what happens when, once that is known ---

  struct Event {
    enum class Kind : std::uint8_t { prelude, start, order, feeds, pulls, feeds_inserted, used };
    std::uint64_t after = 0;  // moves
    Kind kind = Kind::order;
    std::size_t head = 0;
    int tool = 0;
    double wanted_c = 0, least_c = 0;
    bool was_waited_for = false;  // Heaters::Movement
    HeaterCommand order;
    bool with_prelude = false;
  };
  void put(Event& e) {
    e.after = clock_.moves_taken();
    pending_.push_back(e);
  }
  void settle(std::uint64_t moves, double time_s);
  void stop();

  void finish();

  const rules::Rules& rules_;
  const Options& options_;
  Report report_;
  std::optional<Error> error_;
  std::uint64_t number_ = 0;  // of the line that is told
  gcode::State state_;

  Heads heads_;
  ToolChanger original_mount_, mount_;
  std::vector<double> lowest_;            // by toolhead: the lowest of those since it last fed
  std::vector<double> wanted_;            // by toolhead: the original's target
  std::map<std::size_t, double> let_go_;  // ... before an off that nothing was fed after
  // By toolhead: since when the original has had it at less than before, and before.
  struct Dropped {
    double at_s = 0, from_c = 0;
  };
  std::map<std::size_t, Dropped> dropped_;
  std::vector<char> fresh_;  // by toolhead: something happened since it last fed
  struct Lost {
    std::size_t head;
    double temp_c;
    std::uint64_t line;
    bool after_use;  // filament had moved in that visit
  };
  std::optional<Lost> lost_wait_;
  std::vector<Lost> lost_waits_;  // after a use that may have been the last
  void wait_lost(const Lost& lost);
  void settle_lost_waits(std::size_t head);
  // By toolhead: the original's target when it last moved filament, or waited.
  std::vector<double> used_c_;
  double& used_c(std::size_t head) {
    if (used_c_.size() <= head) used_c_.resize(head + 1, 0);
    return used_c_[head];
  }
  std::vector<double> waited_;  // by toolhead: what was last waited for, still the target; or 0
  double& waited(std::size_t head) {
    if (waited_.size() <= head) waited_.resize(head + 1, 0);
    return waited_[head];
  }
  int wrong_tool_ = -2;
  bool fed_in_visit_ = false, moved_in_visit_ = false;  // by the job: forwards; either way
  std::optional<double> original_wait_c_;  // the original's last for what is mounted, in the visit
  double fed_in_blocks_ = 0;
  bool exchanged_ = false;
  std::vector<double> tucked_;
  bool original_started_ = false;
  bool marked_ = false;         // by a first line: something was planned
  bool exchange_only_ = false;  // all that has happened since the last select
  Sequences sequences_;
  const rules::Sequence* steps_ = nullptr;  // the present line's
  // The first of the lines put in that the present one is of, or follows; 0: none. They are as one
  // line, with the job's that follows: a command that could stand between is one place earlier.
  std::uint64_t block_ = 0;
  [[nodiscard]] std::uint64_t line_tag() const { return block_ != 0 ? block_ : number_; }
  // Of a move: whether filament goes with it, too.
  [[nodiscard]] std::uint64_t tag_of(double fed_mm) const {
    return line_tag() << 1U | std::uint64_t(fed_mm != 0);
  }

  Heaters heaters_;
  motion::MoveTimer clock_;
  std::deque<Event> pending_;
  std::uint64_t delivered_ = 0, long_tag_ = UINT64_MAX;
  double waited_s_ = 0, long_from_s_ = 0;
};

}  // namespace forewarm::check
