// Heaters at full drive, and how much power they draw together.
//
// Pure. A heater draws its full power while it is driven. What holding a temperature takes is
// little; it is not counted against the limit.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "job/job.h"

namespace forewarm::plan {

struct Drive {
  double from_s, to_s;  // wall
  std::size_t head;     // of job.heads
  std::uint32_t gap;    // that it comes from; kNoGap: the job's own, or a step's
  double to_c;          // what it is driven to
  static constexpr std::uint32_t kNoGap = UINT32_MAX;
};

// A heater that holds its temperature.
struct Holding {
  double from_s, to_s;  // wall
  double watts;
};

// The most that is drawn at any moment at full drive, and with what holding takes beside it.
[[nodiscard]] double peak_all_w(const std::vector<Drive>& drives,
                                const std::vector<Holding>& holding, const job::Job& job);
// The most that is drawn at any moment by full drive alone. A drive that a wait ends and one that
// begins after the wait do not overlap by rounding.
[[nodiscard]] double peak_heating_w(const std::vector<Drive>& drives, const job::Job& job);

// Seconds in which more than `limit_w` is drawn: while a drive that comes from a gap is under way,
// and by what the job itself heats.
struct OverLimit {
  double of_plan_s = 0, of_job_s = 0;
};
// From `from_s` on; before, start code heats.
[[nodiscard]] OverLimit over_limit(const std::vector<Drive>& drives, const job::Job& job,
                                   double limit_w, double from_s);

}  // namespace forewarm::plan
