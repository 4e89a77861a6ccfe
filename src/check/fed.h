// At what target a job moves filament, either way, and what it waits for, by its text alone.
//
// One machine without time: it follows selects and targets, line by line, as job/ and the replay
// do. Two of them side by side show whether two texts treat their filaments alike. Neither plans
// nor knows of marks. Lifetime: rules and recogniser outlive it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "check/heads.h"
#include "gcode/renumber.h"
#include "gcode/state.h"
#include "machine/heater_targets.h"
#include "machine/interpreter.h"
#include "rules/recogniser.h"

namespace forewarm::check {

class Fed {
 public:
  Fed(const rules::Rules& rules, const rules::Recogniser& recogniser);

  void line(std::string_view text);  // without its ending

  // What the last line did; the rest is of what did something last.
  // - fed: it moved filament;
  // - heated: it waited for what is mounted, by no other tool's number;
  // - cooled: it waited until a heater had cooled down from what it was used at. tool() is what
  //   that was used with; without a number, what is mounted.
  enum class Activity : std::uint8_t { nothing, fed, heated, cooled };
  [[nodiscard]] Activity did() const { return did_; }
  [[nodiscard]] int tool() const { return tool_; }
  [[nodiscard]] std::size_t head() const { return head_; }
  [[nodiscard]] double target_c() const { return target_c_; }
  // Filament that is pulled: the target before the heater was switched off; 0: it was not.
  [[nodiscard]] double before_off_c() const { return before_off_c_; }
  [[nodiscard]] std::uint64_t visit() const { return visit_; }  // how many selects so far
  // Whether the last line waits for the heater of `tool` to be at `target_c`, heated or cooled.
  [[nodiscard]] bool waits_for(int tool, double target_c);
  // Whose number the last wait has; else what is, or was, mounted.
  [[nodiscard]] int named() const { return named_; }
  // Whether `other` did the same with the same filament, and with the same target.
  [[nodiscard]] bool same_as(const Fed& other, const gcode::ToolMap& map) const;
  // Of the toolhead that serves `tool`: no target since it last cooled down is above that.
  [[nodiscard]] double highest_c(int tool);
  [[nodiscard]] std::size_t head_of(int tool) { return heads_.of_tool(tool); }

 private:
  void feed(bool forwards);
  void select(int tool);
  void set_target(const machine::Operation& operation);

  const machine::Interpreter interpreter_;
  Heads heads_;
  ToolChanger changer_;
  machine::HeaterTargets heater_targets_;
  std::unordered_map<std::size_t, int> user_;  // by toolhead: whose filament it was last used with
  gcode::State state_;
  machine::InterpretedLine line_;
  bool first_ = true, begun_ = false, waited_ = false;
  Activity did_ = Activity::nothing;
  int tool_ = -1, last_tool_ = -1, named_ = -1;
  std::size_t head_ = kNone;
  double target_c_ = 0, before_off_c_ = 0;
  std::uint64_t visit_ = 0;
};

// A temperature as messages have it.
[[nodiscard]] std::string written(double c);

}  // namespace forewarm::check
