// A run of lines that the two texts do not share: what its moves may do, and how it has to leave
// the machine.
//
// Within a block the original's state and the rewrite's go apart; after it they are one again. A
// lift by a step sequence right before a select may last over that select. What is wrong goes to
// `findings`. Heights in mm. Lifetime: all that is given outlives it.
#pragma once

#include <cstdint>
#include <string_view>

#include "check/finding.h"
#include "check/heads.h"
#include "gcode/state.h"
#include "motion/limits.h"
#include "rules/rules.h"

namespace forewarm::check {

class EditBlock {
 public:
  EditBlock(const rules::Rules& rules, Findings& findings) : rules_(rules), findings_(findings) {}

  [[nodiscard]] bool is_open() const { return open_; }
  // The first line of the block that the line at `line` is of, or follows; else that line.
  [[nodiscard]] std::uint64_t span(std::uint64_t line) const { return span_ != 0 ? span_ : line; }
  // The line before the present one was of a block.
  [[nodiscard]] bool just_before() const { return just_before_; }

  // The first line of a block comes. `state`: of both texts; it becomes that of the rewrite.
  void open(std::uint64_t line, gcode::State& state, const motion::Limits& limits);
  [[nodiscard]] gcode::State& original_state() { return original_state_; }
  // A line of the block does something.
  void acts() { acts_ = true; }
  // The texts differ without a mark: what state the lines leave is not judged.
  void part() { parted_ = true; }
  void steps(const rules::Sequence& sequence) { last_steps_ = &sequence; }

  // An inserted line moves from `before` to `after`; `head` is mounted with `tool`, or nullptr.
  void insert_move(const gcode::Effect& effect, const gcode::State& before,
                   const gcode::State& after, const rules::Sequence* steps,
                   const rules::Toolhead* head, int tool, std::uint64_t line);

  // A line of both texts comes next, or the end. Whether a block ends with that: then close().
  [[nodiscard]] bool ends() {
    just_before_ = open_;
    return open_;
  }
  // That line, read, or nullptr: the state has to be what it expects. `started`: the first print
  // move has come. `state` is that of both texts again; the limits() are to be in force again.
  void close(const InterpretedLine* next, bool started, gcode::State& state,
             const motion::Limits& limits);
  [[nodiscard]] const motion::Limits& limits() const { return limits_; }
  // The line of both texts itself.
  void begin_shared(std::uint64_t line) {
    if (lifted_mm_ != 0) expect_lift_to_end(line);
  }
  void end_shared() { span_ = 0; }

 private:
  void expect_lift_to_end(std::uint64_t line);
  void judge_lift(const InterpretedLine* next, gcode::State& state);
  void judge_state(const InterpretedLine* next, const gcode::State& state,
                   const motion::Limits& limits);
  void judge_flow(const gcode::Effect& effect, const rules::Toolhead* head, int tool,
                  std::uint64_t line);

  const rules::Rules& rules_;
  Findings& findings_;
  bool open_ = false, just_before_ = false;
  std::uint64_t span_ = 0;
  // Of the present block, or the last.
  bool acts_ = false, parted_ = false;
  std::uint64_t line_ = 0;  // the first
  gcode::State original_state_;
  motion::Limits limits_;                        // before it
  double machine_z_ = 0;                         // before it
  const rules::Sequence* last_steps_ = nullptr;  // the last sequence in it
  double lifted_mm_ = 0;                         // across a select
  bool select_passed_ = false;                   // that select has been
};

}  // namespace forewarm::check
