// What each tool's filament comes to, by tool. Quick where the same tool is asked for again.
#pragma once

#include <map>
#include <vector>

#include "job/job.h"

namespace forewarm::job {

class Materials {
 public:
  [[nodiscard]] Material& of(int tool) {
    if (last_ == by_tool_.end() || last_->first != tool) {
      last_ = by_tool_.try_emplace(tool).first;
      last_->second.tool = tool;
    }
    return last_->second;
  }
  [[nodiscard]] std::vector<Material> list() const {
    std::vector<Material> out;
    for (const auto& [tool, material] : by_tool_) out.push_back(material);
    return out;
  }

 private:
  std::map<int, Material> by_tool_;
  std::map<int, Material>::iterator last_ = by_tool_.end();
};

}  // namespace forewarm::job
