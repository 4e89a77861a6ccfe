#include "check/edit_block.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "check/block.h"

namespace forewarm::check {

using gcode::kE;
using gcode::kZ;

namespace {

constexpr double kSameMm = 1e-6;

double machine_z(const gcode::State& state) { return state.position[kZ] + state.offset[kZ]; }

}  // namespace

void EditBlock::open(std::uint64_t line, gcode::State& state, const motion::Limits& limits) {
  open_ = true;
  span_ = line_ = line;
  original_state_ = state;
  last_steps_ = nullptr;
  state.position[kZ] += std::exchange(lifted_mm_, 0);
  limits_ = limits;
  machine_z_ = machine_z(original_state_);
}

// Only the select itself may come between a lift and its end.
void EditBlock::expect_lift_to_end(std::uint64_t line) {
  if (!std::exchange(select_passed_, true)) return;
  lifted_mm_ = 0;
  findings_.add(Id::state_differs, line, "before this line: Z, from a lift before the select");
}

void EditBlock::close(const InterpretedLine* next, bool started, gcode::State& state,
                      const motion::Limits& limits) {
  open_ = false;
  // Only right before the first print move is planning under way.
  if (!started && acts_ && (next == nullptr || !next->prints())) {
    findings_.add(Id::start_code, line_, "changed before the first print move");
  }
  acts_ = false;
  if (!std::exchange(parted_, false)) {
    judge_lift(next, state);
    judge_state(next, state, limits);
  }
  const int tool = state.tool;
  state = original_state_;
  state.tool = tool;
}

// What a sequence has lifted right before a select may stay so until right after it, and has to
// where the steps say no more of it.
void EditBlock::judge_lift(const InterpretedLine* next, gcode::State& state) {
  if (next == nullptr || !next->selects()) return;
  const double up_mm = state.position[kZ] - original_state_.position[kZ];
  if (up_mm > kSameMm) {
    lifted_mm_ = up_mm;
    select_passed_ = false;
    state.position[kZ] = original_state_.position[kZ];
  } else if (last_steps_ != nullptr &&
             ends_lifted(*last_steps_, machine_z_, rules_.machine.travel_mm[kZ].high)) {
    findings_.add(Id::sequence_wrong, line_,
                  fmt::format("the lift of {} is over before the select", last_steps_->name));
  }
}

void EditBlock::judge_state(const InterpretedLine* next, const gcode::State& state,
                            const motion::Limits& limits) {
  bool goes_on = false;  // axis words alone
  if (next != nullptr) {
    const gcode::Words& words = next->words;
    goes_on = words.kind == gcode::LineKind::words && words.count > 0 &&
              std::string_view("XYZE").find(words.list[0].letter) != std::string_view::npos;
  }
  std::string what = differences(state, original_state_, goes_on);
  if (!(limits == limits_)) {
    what += (what.empty() ? "" : ", ") + std::string("a limit of motion");
  }
  if (!what.empty()) findings_.add(Id::state_differs, line_, "after these lines: " + what);
}

void EditBlock::insert_move(const gcode::Effect& effect, const gcode::State& before,
                            const gcode::State& after, const rules::Sequence* steps,
                            const rules::Toolhead* head, int tool, std::uint64_t line) {
  judge_flow(effect, head, tool, line);
  bool outside = false;
  for (std::size_t a = 0; a < 3; ++a) {
    const double to = after.position[a] + after.offset[a];
    const rules::Range& range = rules_.machine.travel_mm[a];
    outside |= effect.delta[a] != 0 && (to < range.low - kSameMm || to > range.high + kSameMm);
  }
  if (outside) findings_.add(Id::inserted_move_outside, line, "leaves travel_mm");
  const double z = std::min(machine_z(before), machine_z(after));
  if ((effect.delta[0] != 0 || effect.delta[1] != 0) && z <= machine_z_ + kSameMm) {
    findings_.add(Id::inserted_move_low, line, fmt::format("moves across at Z {:g}", z));
  } else if (effect.delta[kZ] < 0 && z < machine_z_ - kSameMm &&
             !(steps != nullptr && goes_to(*steps, z))) {
    findings_.add(Id::inserted_move_low, line,
                  fmt::format("goes down to Z {:g}, the job is at {:g}", z, machine_z_));
  }
}

// How fast filament is pushed.
void EditBlock::judge_flow(const gcode::Effect& effect, const rules::Toolhead* head, int tool,
                           std::uint64_t line) {
  if (head == nullptr || effect.delta[kE] <= 0 || !head->max_flow_mm3_s) return;
  const double path_mm = std::hypot(effect.delta[0], effect.delta[1], effect.delta[2]);
  const double mm_s = effect.feed_mm_s * (path_mm > 0 ? effect.delta[kE] / path_mm : 1);
  const double flow_mm3_s = rules_.filament(tool).area_mm2() * mm_s;
  if (flow_mm3_s <= *head->max_flow_mm3_s * (1 + 1e-6)) return;
  findings_.add(
      Id::feed_too_fast, line,
      fmt::format("pushes {:.3g} mm3/s, {:g} are allowed", flow_mm3_s, *head->max_flow_mm3_s));
}

}  // namespace forewarm::check
