// How much power heaters draw over time: loads that are given, and preheats that are placed and
// removed again while a placement is searched for. For level_power.h.
//
// Wall seconds and watts.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

#include "plan/level_power.h"

namespace forewarm::plan {

class PowerProfile {
 public:
  PowerProfile(const std::vector<PowerLoad>& fixed, double limit_w);
  void add(const PowerLoad& load);
  // Removes what was added last.
  void remove_last(std::size_t count = 1);
  // Of what is placed for good, only the last loads matter: the next ones come before them in time.
  void forget_old();
  [[nodiscard]] bool within_limit(double watts) const { return watts <= limit_w_ + kSlackW; }
  // Whether no load, as it is or was before it was moved, reaches into [from_s, to_s).
  [[nodiscard]] bool idle(double from_s, double to_s) const;
  // The first moment in [from_s, to_s) at which the task's watts are too many more.
  [[nodiscard]] std::optional<double> clash(double from_s, double to_s,
                                            const PreheatTask& task) const;
  // The first moment after `t` at which a load ends; infinity if none does.
  [[nodiscard]] double next_end(double t) const;

 private:
  static constexpr double kSlackW = 1e-9;
  [[nodiscard]] std::vector<PowerLoad>::const_iterator first_fixed(double from_s) const;
  void find_near(double from_s, double to_s, std::size_t heater) const;

  std::vector<PowerLoad> fixed_;  // by from_s
  std::vector<PowerLoad> placed_;
  mutable std::vector<PowerLoad> near_;  // its memory is used for each clash
  double limit_w_;
  double longest_s_ = 0;                                       // of the fixed ones
  double lowest_s_ = std::numeric_limits<double>::infinity();  // of all that was ever placed
};

}  // namespace forewarm::plan
