#include "check/fed.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace forewarm::check {

Fed::Fed(const rules::Rules& rules, const rules::Recogniser& recogniser)
    : recogniser_(recogniser),
      heaters_(rules.dialect.temperature_index_is_heater),
      ask_moves_(recogniser.wants_moves()),
      heads_(rules),
      mount_(heads_) {}

void Fed::line(std::string_view text) {
  using As = rules::Recognise::As;
  if (first_ && text.substr(0, 3) == "\xef\xbb\xbf") text.remove_prefix(3);
  first_ = false;
  fed_ = false;
  gcode::parse(text, words_);
  gcode::apply(words_, state_, effect_);
  const gcode::Effect& e = effect_;
  const auto select = [this](int tool) {
    const Selected s = mount_.select(tool);
    if (s.served && !s.redundant) ++visit_;
  };
  found_.clear();
  std::optional<double> seconds;
  if (!recogniser_.empty() && (ask_moves_ || !e.moves)) recogniser_.match(text, found_, seconds);
  for (const rules::Recognised& r : found_) {
    if (r.as == As::change) select(r.tool.value_or(-1));
    if ((r.as != As::set && r.as != As::wait) || !r.temp) continue;
    const std::size_t head =
        r.heater ? heads_.of_heater(*r.heater) : heads_.of_tool(r.tool.value_or(-1));
    if (head != kNone) targets_[head] = *r.temp;
  }
  if (e.moves && e.delta[gcode::kE] != 0) feed(e.delta[gcode::kE] > 0);
  if (e.retracts || e.unretracts) feed(e.unretracts);
  if (e.selects) select(e.tool);
  if (!e.sets_target || !e.has_temp) return;
  const std::size_t head = !e.target_index ? mount_.spoken_to()
                           : heaters_      ? heads_.of_heater(*e.target_index)
                                           : heads_.of_tool(*e.target_index);
  if (head != kNone) targets_[head] = std::max(0.0, e.temp_c);
}

void Fed::feed(bool forwards) {
  if (mount_.mounted() == kNone && !forwards) return;
  const std::size_t head = mount_.feeding();
  if (head == kNone) return;
  fed_ = true;
  tool_ = mount_.tool();
  const auto it = targets_.find(head);
  target_c_ = it == targets_.end() ? 0 : it->second;
}

bool Fed::same_as(const Fed& other, const gcode::ToolMap& map) const {
  constexpr double kSameC = 0.01;
  return fed_ == other.fed_ && gcode::mapped(map, tool_) == other.tool_ &&
         std::abs(target_c_ - other.target_c_) <= kSameC;
}

std::string written(double c) { return fmt::format("{:g}", c); }

}  // namespace forewarm::check
