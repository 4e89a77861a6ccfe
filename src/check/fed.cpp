#include "check/fed.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace forewarm::check {

namespace {
constexpr double kSameC = 0.01;
}

Fed::Fed(const rules::Rules& rules, const rules::Recogniser& recogniser)
    : recogniser_(recogniser),
      heaters_(rules.dialect.temperature_index_is_heater),
      ask_moves_(recogniser.wants_moves()),
      heads_(rules),
      mount_(heads_),
      asked_(heads_) {}

void Fed::line(std::string_view text) {
  using As = rules::Recognise::As;
  if (first_ && text.substr(0, 3) == "\xef\xbb\xbf") text.remove_prefix(3);
  first_ = false;
  did_ = Activity::nothing;
  waited_ = false;
  gcode::parse(text, words_);
  gcode::apply(words_, state_, effect_);
  const gcode::Effect& e = effect_;
  const auto select = [this](int tool) {
    const Selected s = mount_.select(tool);
    if (!s.served || s.redundant) return;
    ++visit_;
    begun_ = false;
    if (tool >= 0) last_tool_ = tool;
  };
  found_.clear();
  std::optional<double> seconds;
  if (!recogniser_.empty() && (ask_moves_ || !e.moves)) recogniser_.match(text, found_, seconds);
  for (const rules::Recognised& r : found_) {
    if (r.as == As::change) select(r.tool.value_or(-1));
    if (r.as != As::set && r.as != As::wait) continue;
    const std::size_t head =
        r.heater ? heads_.of_heater(*r.heater) : heads_.of_tool(r.tool.value_or(-1));
    give(head, r.temp, r.as == As::wait, false, r.heater ? std::nullopt : r.tool);
  }
  if (e.moves && e.delta[gcode::kE] != 0) feed(e.delta[gcode::kE] > 0);
  if (e.retracts || e.unretracts) feed(e.unretracts);
  if (e.selects) select(e.tool);
  if (!e.sets_target) return;
  const std::size_t head = !e.target_index ? mount_.spoken_to()
                           : heaters_      ? heads_.of_heater(*e.target_index)
                                           : heads_.of_tool(*e.target_index);
  const std::optional<int> number = !e.target_index ? std::optional(last_tool_)
                                    : heaters_      ? std::nullopt
                                                    : e.target_index;
  give(head, e.has_temp ? std::optional(e.temp_c) : std::nullopt, e.waits_for_target,
       e.waits_for_cooling, number);
}

// `number`: of the tool; nothing where the heater is named.
void Fed::give(std::size_t head, std::optional<double> temp_c, bool waits, bool waits_for_cooling,
               std::optional<int> number) {
  if (head == kNone) return;
  head_ = head;
  waited_ = waits;
  named_ = number.value_or(last_tool_);
  if (waits && asked_.cools(head, temp_c, waits_for_cooling)) {
    asked_.cool(head, *temp_c);
    did_ = Activity::cooled;
    const auto user = user_.find(head);
    tool_ = effect_.target_index && user != user_.end() ? user->second : number.value_or(-1);
    target_c_ = *temp_c;
    return;
  }
  asked_.give(head, temp_c);
  const double target_c = target_c_ = asked_[head].target_c;
  if (!waits || head != mount_.mounted() || !asked_.is_hot(head, target_c)) return;
  user_[head] = mount_.tool();
  asked_.waits(head);
  if (number.value_or(mount_.tool()) != mount_.tool()) return;
  did_ = Activity::heated;
  tool_ = mount_.tool();
  before_off_c_ = 0;
}

void Fed::feed(bool forwards) {
  if (mount_.mounted() == kNone && !forwards) return;
  const std::size_t head = mount_.feeding();
  if (head == kNone) return;
  did_ = Activity::fed;
  head_ = head;
  tool_ = mount_.tool();
  target_c_ = asked_[head].target_c;
  before_off_c_ = forwards || begun_ ? 0 : asked_[head].before_off_c;
  if (!begun_ && asked_.begins(head, forwards)) {
    begun_ = true;
    user_[head] = tool_;
  }
  if (forwards) asked_.fed();
}

bool Fed::waits_for(int tool, double target_c) {
  return waited_ && head_ == heads_.of_tool(tool) && std::abs(target_c_ - target_c) <= kSameC;
}

double Fed::most_c(int tool) {
  const std::size_t head = heads_.of_tool(tool);
  return head == kNone ? 0 : asked_[head].most_c;
}

bool Fed::same_as(const Fed& other, const gcode::ToolMap& map) const {
  // What was not let go of is pulled cold, and asks for nothing.
  return did_ == other.did_ && gcode::mapped(map, tool_) == other.tool_ &&
         std::abs(target_c_ - other.target_c_) <= kSameC &&
         (did_ != Activity::fed || before_off_c_ == 0 ||
          std::abs(before_off_c_ - other.before_off_c_) <= kSameC);
}

std::string written(double c) { return fmt::format("{:g}", c); }

}  // namespace forewarm::check
