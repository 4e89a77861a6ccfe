// Follows which toolhead is mounted and used, and what its heater is to be at: fills
// Job::tool_changes, targets and uses.
//
// Calls come in the order of the text. Lifetime: rules and job outlive it.
#pragma once

#include <cstdint>

#include "job/job.h"
#include "machine/heads.h"
#include "machine/heater_targets.h"
#include "machine/interpreter.h"

namespace forewarm::job {

struct LineSpan {
  std::uint64_t offset = 0, end_offset = 0, number = 0;
};

class UseTracker {
 public:
  UseTracker(const rules::Rules& rules, Job& job) : job_(job), heads_(rules) {}

  [[nodiscard]] const machine::Heads& heads() const { return heads_; }
  // The toolhead whose heater is meant.
  [[nodiscard]] std::size_t head_of(const machine::HeaterAddress& address) {
    return changer_.head_of(address);
  }
  [[nodiscard]] int tool() const { return changer_.tool(); }  // -1: none
  [[nodiscard]] std::size_t mounted() const { return changer_.mounted(); }
  [[nodiscard]] int heaters_on() const { return targets_.on(); }

  // A select. What it changes, without times; `served`: false if no toolhead serves the tool.
  [[nodiscard]] ToolChange select(int tool, bool& served);
  // The change is over, and has its times. Filament last moved at `filament_until_s`.
  void finish_change(const ToolChange& change, double filament_until_s);

  // The heater of `head` is given a target, or waited for. The time is still to be set.
  void set_target(std::size_t head, const machine::Operation& operation, const LineSpan& line,
                  bool alone);

  // Filament is moved by a line: a use goes on, or begins. What the job pulls cold, it has asked
  // for no heat for; right after an off the heater is not cold yet.
  enum class Filament : std::uint8_t { cold, unserved, begins, goes_on };
  [[nodiscard]] Filament move_filament(bool forwards, const LineSpan& line);

  // Whether filament has moved in this visit.
  [[nodiscard]] bool in_use() const { return use_ != kNone; }
  // REQUIRES: in_use(). Filament moves on.
  void go_on(bool forwards, const LineSpan& line) {
    ToolUse& use = job_.uses[use_];
    use.last_end = line.end_offset;
    if (!forwards) return;
    targets_.feed();
    if (use.kind != ToolUse::Kind::fed) {
      use.pulled_first = use.first.offset < line.offset;
      use.kind = ToolUse::Kind::fed;
      use.fed_offset = line.offset;
    }
    use.extruded_end = line.end_offset;
  }

  // The job is over.
  void finish(double filament_until_s) {
    close_visit(changer_.mounted(), changer_.tool(), false, filament_until_s);
  }

 private:
  void close_visit(std::size_t head, int tool, bool exchanged_next, double filament_until_s);

  Job& job_;
  machine::Heads heads_;
  machine::ToolChanger changer_{heads_};
  machine::HeaterTargets targets_{heads_};
  std::size_t last_change_ = kNone;    // of job_.tool_changes: the last that was not redundant
  std::size_t use_ = kNone;            // of job_.uses: the one under way
  std::size_t wait_of_visit_ = kNone;  // of job_.targets: the last for what is mounted
};

}  // namespace forewarm::job
