// How much power heaters draw over time: loads that are given, and those of groups that are placed
// already, the first in time last. For power_schedule.h.
//
// Wall seconds and watts.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "plan/power_schedule.h"

namespace forewarm::plan {

class PowerProfile {
 public:
  PowerProfile(const std::vector<PowerLoad>& fixed, double limit_w);
  void add(const PowerLoad& load);
  // Removes what was added last.
  void remove_last(std::size_t count);
  // Of what is placed for good, only the last loads matter, and no fewer than these are remembered:
  // the next ones come before them in time.
  static constexpr std::size_t kRemembered = 128;
  void forget_old();
  [[nodiscard]] double limit_w() const { return limit_w_; }
  // Whether no load, as it is or was before it was moved, reaches into [from_s, to_s).
  [[nodiscard]] bool idle(double from_s, double to_s) const;
  // Appends the loads that reach into [from_s, to_s), but for those of `heater`.
  void find_near(double from_s, double to_s, std::size_t heater,
                 std::vector<PowerLoad>& into) const;

 private:
  [[nodiscard]] std::vector<PowerLoad>::const_iterator first_fixed(double from_s) const;

  std::vector<PowerLoad> fixed_;  // by from_s
  std::vector<PowerLoad> placed_;
  double limit_w_;
  double longest_s_ = 0;                                       // of the fixed ones
  double lowest_s_ = std::numeric_limits<double>::infinity();  // of all that was ever placed
};

// Whether heaters may draw so much; limits are given in round figures, sums are not.
[[nodiscard]] inline bool within_limit(double watts, double limit_w) {
  constexpr double kSlackW = 1e-9;
  return watts <= limit_w + kSlackW;
}

// The first moment in [from_s, to_s) at which `watts` are too many beside the loads.
[[nodiscard]] std::optional<double> first_clash(std::span<const PowerLoad> loads, double from_s,
                                                double to_s, double watts, double limit_w);

}  // namespace forewarm::plan
