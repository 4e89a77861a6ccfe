#include "job/materials.h"

#include <algorithm>

namespace forewarm::job {

// As the machine counts.
bool Materials::in_purge_area(const std::array<double, 4>& delta, const gcode::State& state) const {
  constexpr double kSameMm = 1e-6;
  for (std::size_t a = 0; a < purge_area_->size(); ++a) {
    const rules::Range& range = (*purge_area_)[a];
    const double to = state.position[a] + state.offset[a];
    const double from = to - delta[a];
    if (std::min(from, to) < range.low - kSameMm || std::max(from, to) > range.high + kSameMm) {
      return false;
    }
  }
  return true;
}

std::vector<Material> Materials::list() const {
  std::vector<Material> out;
  for (const auto& [tool, material] : by_tool_) out.push_back(material);
  return out;
}

}  // namespace forewarm::job
