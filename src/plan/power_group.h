// A group of up to kMaxExact preheats that compete for power, solved for itself. See
// power_schedule.h for what it comes to.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "plan/power_clock.h"
#include "plan/power_profile.h"
#include "plan/power_schedule.h"

namespace forewarm::plan {

// How many partial orders may be looked at, in one search and in all.
struct NodeBudget {
  std::size_t left = 0;
  bool ran_out = false;
};

class PowerGroup {
 public:
  // REQUIRES: tasks and profile outlive it.
  PowerGroup(std::span<const PreheatTask> tasks, std::size_t first) : tasks_(tasks) { join(first); }
  void join(std::size_t member) { members_.push_back(member); }
  [[nodiscard]] const std::vector<std::size_t>& members() const { return members_; }

  // Leaves the profile as it was.
  void solve(const PowerProfile& profile, NodeBudget& budget);
  // Takes out the `count` members with the last deadlines, where they are placed now.
  [[nodiscard]] PowerGroup split_last(std::size_t count);
  // The same for one that nothing keeps from its latest moment.
  void solve_alone(double at_s, double end_s);
  // As members(), moments of the given timeline.
  [[nodiscard]] const std::vector<PreheatSlot>& slots() const { return slots_; }
  [[nodiscard]] bool late() const { return !slots_.empty() && slots_.front().late; }
  // What the members draw, as members(); one that is not driven never draws.
  [[nodiscard]] const std::vector<PowerLoad>& loads() const { return loads_; }
  // From the first preheat to the last end.
  [[nodiscard]] double low_s() const { return low_s_; }
  [[nodiscard]] double high_s() const { return high_s_; }

 private:
  void find_span();
  std::span<const PreheatTask> tasks_;
  std::vector<std::size_t> members_;
  std::vector<PreheatSlot> slots_;
  std::vector<PowerLoad> loads_;
  double low_s_ = 0, high_s_ = 0;
};

}  // namespace forewarm::plan
