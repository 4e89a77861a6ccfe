#include "check/fed.h"

#include <fmt/format.h>

#include <cmath>
#include <utility>

namespace forewarm::check {

Fed::Fed(const rules::Rules& rules, const rules::Recogniser& recogniser)
    : interpreter_(rules, recogniser), heads_(rules), changer_(heads_), heater_targets_(heads_) {}

void Fed::line(std::string_view text) {
  using Kind = machine::Operation::Kind;
  if (std::exchange(first_, false)) text = machine::without_byte_order_mark(text);
  did_ = Activity::nothing;
  waited_ = false;
  interpreter_.read(text, state_, line_);
  for (const machine::Operation& operation : line_.operations) {
    const double fed_mm = line_.effect.delta[gcode::kE];
    if (operation.kind == Kind::select) select(operation.tool);
    if (operation.kind == Kind::set_target) set_target(operation);
    if (operation.kind == Kind::move && fed_mm != 0) feed(fed_mm > 0);
    if (operation.kind == Kind::retract) feed(false);
    if (operation.kind == Kind::unretract) feed(true);
  }
}

void Fed::select(int tool) {
  const Selected selected = changer_.select(tool);
  if (!selected.served || selected.redundant) return;
  ++visit_;
  begun_ = false;
  if (tool >= 0) last_tool_ = tool;
}

void Fed::set_target(const machine::Operation& operation) {
  using By = machine::HeaterAddress::By;
  const By by = operation.heater.by;
  const std::size_t head = changer_.head_of(operation.heater);
  if (head == kNone) return;
  // Of the tool; nothing where the heater is named.
  std::optional<int> number;
  if (by == By::tool) number = operation.heater.number;
  if (by == By::mounted) number = last_tool_;
  head_ = head;
  waited_ = operation.waits;
  named_ = number.value_or(last_tool_);
  if (operation.waits &&
      heater_targets_.cools(head, operation.temp_c, operation.waits_for_cooling)) {
    heater_targets_.cool(head, *operation.temp_c);
    did_ = Activity::cooled;
    const auto user = user_.find(head);
    tool_ = by != By::mounted && user != user_.end() ? user->second : number.value_or(-1);
    target_c_ = *operation.temp_c;
    return;
  }
  heater_targets_.set(head, operation.temp_c);
  const double target_c = target_c_ = heater_targets_[head].target_c;
  if (!operation.waits || head != changer_.mounted()) return;
  if (!heater_targets_.is_hot(head, target_c)) return;
  user_[head] = changer_.tool();
  heater_targets_.wait(head);
  if (number.value_or(changer_.tool()) != changer_.tool()) return;
  did_ = Activity::heated;
  tool_ = changer_.tool();
  before_off_c_ = 0;
}

void Fed::feed(bool forwards) {
  if (changer_.mounted() == kNone && !forwards) return;
  const std::size_t head = changer_.feeding();
  if (head == kNone) return;
  did_ = Activity::fed;
  head_ = head;
  tool_ = changer_.tool();
  target_c_ = heater_targets_[head].target_c;
  before_off_c_ = forwards || begun_ ? 0 : heater_targets_[head].before_off_c;
  if (!begun_ && heater_targets_.begin_use(head, forwards)) {
    begun_ = true;
    user_[head] = tool_;
  }
  if (forwards) heater_targets_.feed();
}

bool Fed::waits_for(int tool, double target_c) {
  return waited_ && head_ == heads_.of_tool(tool) &&
         std::abs(target_c_ - target_c) <= machine::kSameTargetC;
}

double Fed::highest_c(int tool) {
  const std::size_t head = heads_.of_tool(tool);
  return head == kNone ? 0 : heater_targets_[head].highest_c;
}

bool Fed::same_as(const Fed& other, const gcode::ToolMap& map) const {
  // Without an off before it, filament that is pulled cold asks for nothing.
  return did_ == other.did_ && gcode::mapped(map, tool_) == other.tool_ &&
         std::abs(target_c_ - other.target_c_) <= machine::kSameTargetC &&
         (did_ != Activity::fed || before_off_c_ == 0 ||
          std::abs(before_off_c_ - other.before_off_c_) <= machine::kSameTargetC);
}

std::string written(double c) { return fmt::format("{:g}", c); }

}  // namespace forewarm::check
