// Heaters at full drive, and how much power they draw together.
//
// Pure. A heater draws its full power while it is driven; what holding a temperature takes is not
// counted.
#pragma once

#include <cstddef>
#include <vector>

#include "job/job.h"

namespace forewarm::plan {

struct Drive {
  double from_s, to_s;  // wall
  std::size_t head;     // of job.heads
  bool preheat;         // the plan's
};

// The most that is drawn at any moment. A drive that a wait ends and one that begins after the wait
// do not overlap by rounding.
[[nodiscard]] double peak_heating_w(const std::vector<Drive>& drives, const job::Job& job);

// Seconds in which more than `limit_w` is drawn while a preheat is under way.
[[nodiscard]] double over_limit_s(const std::vector<Drive>& drives, const job::Job& job,
                                  double limit_w);

}  // namespace forewarm::plan
