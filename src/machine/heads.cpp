#include "machine/heads.h"

#include <utility>

namespace forewarm::machine {

Heads::Heads(const rules::Rules& rules) : rules_(rules) {
  if (rules.toolhead_per_tool_seen) return;
  list_ = rules.toolheads;
  for (std::size_t h = 0; h < list_.size(); ++h) {
    for (const int tool : list_[h].tools) tools_.emplace(tool, h);
    heaters_.emplace(list_[h].heater_index, h);
  }
}

std::size_t Heads::of_tool(int tool) {
  const auto known = tools_.find(tool);
  if (known != tools_.end()) return known->second;
  if (!rules_.toolhead_per_tool_seen || tool < 0) return kNone;
  rules::Toolhead head = rules_.toolheads.front();
  head.name += std::to_string(tool);
  head.tools = {tool};
  head.heater_index = tool;
  list_.push_back(std::move(head));
  heaters_.emplace(tool, list_.size() - 1);
  return tools_.emplace(tool, list_.size() - 1).first->second;
}

std::size_t Heads::of_heater(int heater) {
  const auto known = heaters_.find(heater);
  if (known != heaters_.end()) return known->second;
  return rules_.toolhead_per_tool_seen ? of_tool(heater) : kNone;
}

std::size_t Heads::of(const HeaterAddress& address) {
  switch (address.by) {
    case HeaterAddress::By::tool:
      return of_tool(address.number);
    case HeaterAddress::By::heater:
      return of_heater(address.number);
    case HeaterAddress::By::mounted:
      break;
  }
  return kNone;
}

double Heads::exchange_s(std::size_t head, int tool) const {
  return rules::exchange_seconds(list_[head], rules_.filament(tool));
}

Selected ToolChanger::select(int tool) {
  Selected s;
  s.from = mounted_;
  if (tool < 0) {
    s.redundant = mounted_ == kNone;
    if (mounted_ != kNone) s.park_s = heads_[mounted_].park_s;
  } else {
    s.to = heads_.of_tool(tool);
    if (s.to == kNone) {
      s.served = false;
      return s;
    }
    const auto loaded = loaded_.find(s.to);
    s.exchange = loaded != loaded_.end() && loaded->second != tool;
    s.redundant = s.to == mounted_ && !s.exchange;
    if (s.to != mounted_) {
      if (mounted_ != kNone) s.park_s = heads_[mounted_].park_s;
      s.pick_s = heads_[s.to].pick_s;
    }
    if (s.exchange) {
      s.exchange_s = heads_.exchange_s(s.to, tool);
      s.out_tool = loaded->second;
    }
    loaded_[s.to] = tool;
    s.first = !std::exchange(used_, true);
  }
  if (s.redundant) return s;
  tool_ = tool;
  mounted_ = s.to;
  if (mounted_ != kNone) last_mounted_ = mounted_;
  return s;
}

std::size_t ToolChanger::feeding() {
  if (tool_ < 0 && mounted_ == kNone) {
    const std::size_t head = heads_.of_tool(0);
    if (head == kNone) return kNone;
    tool_ = 0;
    used_ = true;
    mounted_ = last_mounted_ = head;
    loaded_[head] = 0;
  }
  return mounted_;
}

std::size_t ToolChanger::head_of(const HeaterAddress& address) {
  return address.by == HeaterAddress::By::mounted ? last_mounted() : heads_.of(address);
}

std::size_t ToolChanger::last_mounted() {
  if (mounted_ != kNone) return mounted_;
  if (last_mounted_ != kNone) return last_mounted_;
  return heads_.of_tool(0);
}

}  // namespace forewarm::machine
