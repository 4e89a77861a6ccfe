// Plays the rewritten job: gives the operations of its lines to a machine, each at its moment, and
// judges what the machine does with filament against what the original asks.
//
// Lines come in the order of the text; the original's side follows those that
// are the job's first. Findings go to `findings`. Lifetime: all that is given outlives it.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "check/filament_balance.h"
#include "check/finding.h"
#include "check/line_context.h"
#include "check/machine_replay.h"
#include "check/original_side.h"
#include "check/removed_waits.h"
#include "check/sequences.h"

namespace forewarm::check {

class Replay {
 public:
  Replay(const rules::Rules& rules, Heads& heads, OriginalSide& original, Findings& findings);

  [[nodiscard]] MachineReplay& machine() { return machine_; }
  [[nodiscard]] const MachineReplay& machine() const { return machine_; }
  // The sequence that an inserted line is of, by the reason of its mark; nullptr: of none.
  [[nodiscard]] const rules::Sequence* sequence_of(std::string_view reason) const {
    return sequences_.named(reason);
  }

  // `plane`: of its arc, if it has one.
  void act(const InterpretedLine& line, gcode::Plane plane, const LineContext& at);
  // A straight move.
  void move(const std::array<double, 4>& delta, double feed_mm_s, const LineContext& at) {
    const double mm = delta[gcode::kE];
    if (mm != 0) move_filament(mm > 0, mm, at);
    machine_.move(delta, feed_mm_s, at.span);
  }
  // A heater is given a target, waited for, or both.
  void command(std::size_t head, const Operation& operation, const LineContext& at,
               bool for_least = false);
  // ... by an inserted line, which may be of a sequence.
  void insert_command(std::size_t head, const Operation& operation, const LineContext& at,
                      bool for_least) {
    command(head, operation, at, for_least);
    if (at.steps != nullptr) given_by_steps(head, 0, *at.steps);
  }
  // An inserted line that is of a sequence, and has acted. `code`: without its mark.
  void finish_step(std::string_view code, const LineContext& at);
  // The job's own wait for `head` to be at `temp_c` was removed; `before_c` was the original's
  // target.
  void remove_wait(std::size_t head, double temp_c, double before_c, bool cooling,
                   std::uint64_t line);
  // `planned`: the rewrite has a header.
  void finish(bool planned, std::uint64_t last_line);

  // Set once a line of the job cannot be followed at all; without the name of the text.
  [[nodiscard]] const std::optional<Error>& error() const { return error_; }

 private:
  void perform(const Operation& operation, const InterpretedLine& line, gcode::Plane plane,
               const LineContext& at);
  void set_target(const Operation& operation, const LineContext& at);
  void select(int tool, const LineContext& at);
  void leave_after_exchange(std::size_t head, std::uint64_t line);
  void move(const InterpretedLine& line, gcode::Plane plane, const LineContext& at);
  void firmware_retraction(bool forwards, const LineContext& at);
  void move_filament(bool forwards, double mm, const LineContext& at);
  void insert_filament(std::size_t head, bool forwards, double mm, const LineContext& at);
  void compare_tools(std::uint64_t line);
  void given_by_steps(std::size_t head, double fed_mm, const rules::Sequence& steps,
                      bool makes_up = false);
  void unserved(const std::string& what, const LineContext& at);
  void sequence_wrong(std::uint64_t line, std::string wrong) {
    if (!wrong.empty()) findings_.add(Id::sequence_wrong, line, std::move(wrong));
  }
  // Whether something has happened to a toolhead since filament last moved in it.
  [[nodiscard]] bool changed(std::size_t head) {
    return changed_flag(head) != 0 || original_.target_given(head);
  }
  char& changed_flag(std::size_t head) {
    if (changed_.size() <= head) changed_.resize(head + 1, 1);
    return changed_[head];
  }

  const rules::Rules& rules_;
  Heads& heads_;
  OriginalSide& original_;
  Findings& findings_;
  MachineReplay machine_;
  Sequences sequences_;
  RemovedWaits removed_waits_;
  FilamentBalance balance_;
  std::vector<char> changed_;  // by toolhead
  // In this visit, by the job: filament was fed forwards; was moved either way.
  bool fed_in_visit_ = false, moved_in_visit_ = false;
  bool only_exchanged_ = false;  // nothing but an exchange has happened since the last select
  int wrong_tool_ = -2;          // that was last said to feed instead of the original's
  std::optional<Error> error_;
};

}  // namespace forewarm::check
