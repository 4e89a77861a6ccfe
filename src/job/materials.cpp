#include "job/materials.h"

namespace forewarm::job {

std::vector<Material> Materials::list() const {
  std::vector<Material> out;
  for (const auto& [tool, material] : by_tool_) out.push_back(material);
  return out;
}

std::vector<Visit> Materials::visits() const {
  std::vector<Visit> out = visits_;
  out.push_back(visit_);
  return out;
}

}  // namespace forewarm::job
