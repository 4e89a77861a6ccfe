#include "job/head_table.h"

#include <string>
#include <utility>

namespace forewarm::job {

HeadTable::HeadTable(const rules::Rules& rules, std::vector<rules::Toolhead>& heads)
    : rules_(rules), heads_(heads) {
  if (!rules.toolhead_per_tool_seen) heads_ = rules.toolheads;
  for (std::size_t h = 0; h < heads_.size(); ++h) {
    for (const int tool : heads_[h].tools) by_tool_.emplace(tool, h);
    by_heater_.emplace(heads_[h].heater_index, h);
  }
}

std::optional<std::size_t> HeadTable::of_tool(int tool) {
  if (const auto it = by_tool_.find(tool); it != by_tool_.end()) return it->second;
  if (!rules_.toolhead_per_tool_seen || tool < 0) return std::nullopt;
  rules::Toolhead head = rules_.toolheads.front();
  head.name += std::to_string(tool);
  head.tools = {tool};
  head.heater_index = tool;
  heads_.push_back(std::move(head));
  const std::size_t place = heads_.size() - 1;
  by_tool_.emplace(tool, place);
  by_heater_.emplace(tool, place);
  return place;
}

std::optional<std::size_t> HeadTable::of_heater(int heater) {
  if (const auto it = by_heater_.find(heater); it != by_heater_.end()) return it->second;
  return rules_.toolhead_per_tool_seen ? of_tool(heater) : std::nullopt;
}

}  // namespace forewarm::job
