#include "rules/rules.h"

#include <algorithm>

namespace forewarm::rules {

const char* name_of(Policy policy) {
  switch (policy) {
    case Policy::as_sliced:
      return "as-sliced";
    case Policy::timers:
      return "timers";
    case Policy::hold:
      return "hold";
    case Policy::lookahead:
      break;
  }
  return "lookahead";
}

bool Places::name(int tool, std::size_t head) const {
  return std::find(tools.begin(), tools.end(), tool) != tools.end() ||
         std::find(heads.begin(), heads.end(), head) != heads.end();
}

Filament Rules::filament(int tool) const {
  for (const Filament& filament : filaments) {
    if (filament.tool == tool) return filament;
  }
  Filament plain;
  plain.tool = tool;
  plain.name.append("T").append(std::to_string(tool));  // operator+ draws a false warning (GCC 12)
  return plain;
}

std::optional<std::size_t> Rules::toolhead_of(int tool) const {
  for (std::size_t i = 0; i < toolheads.size(); ++i) {
    const auto& tools = toolheads[i].tools;
    if (std::find(tools.begin(), tools.end(), tool) != tools.end()) return i;
  }
  return std::nullopt;
}

}  // namespace forewarm::rules
