// Which toolhead serves a tool and which has a heater.
//
// With tools = "seen" in the rule file there is one more for each number met: `heads` grows.
// Lifetime: keeps both arguments of the constructor.
#pragma once

#include <optional>
#include <unordered_map>
#include <vector>

#include "rules/rules.h"

namespace forewarm::job {

class HeadTable {
 public:
  // `heads` is filled from the rules.
  HeadTable(const rules::Rules& rules, std::vector<rules::Toolhead>& heads);
  // Indexes into `heads`; nothing where no toolhead serves or has it.
  [[nodiscard]] std::optional<std::size_t> of_tool(int tool);
  [[nodiscard]] std::optional<std::size_t> of_heater(int heater);

 private:
  const rules::Rules& rules_;
  std::vector<rules::Toolhead>& heads_;
  // A job may select any of 65536 tools on every line.
  std::unordered_map<int, std::size_t> by_tool_, by_heater_;
};

}  // namespace forewarm::job
