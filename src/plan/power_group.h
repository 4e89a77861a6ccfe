// A group of up to kMaxGroup preheats that compete for power, solved for itself. See
// power_schedule.h for what it comes to.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "plan/power_clock.h"
#include "plan/power_profile.h"
#include "plan/power_schedule.h"

namespace forewarm::plan {

// How many partial orders may be looked at in all: of those in which somebody is late, and of those
// in which nobody is.
struct NodeBudget {
  std::size_t late = 0, in_time = 0;
  bool ran_out = false;  // in a search in which somebody is late
};

// The last moment in [early_s, late_s] at which what then takes length_s(moment), no less the later
// it is, ends by `end_s`. REQUIRES: early_s is one.
template <class Length>
[[nodiscard]] double latest_ending_by(double end_s, double early_s, double late_s,
                                      const Length& length_s) {
  constexpr double kResolutionS = 1e-3;
  while (late_s - early_s > kResolutionS) {
    // What takes no longer than now can begin so much before the end, and no later than what takes
    // as long as at the earliest moment.
    const double by_late_s = end_s - length_s(late_s);
    if (by_late_s > early_s) early_s = std::min(by_late_s, late_s);
    late_s = std::min(late_s, end_s - length_s(early_s));
    if (late_s - early_s <= kResolutionS) break;
    const double middle_s = (early_s + late_s) / 2;
    (middle_s + length_s(middle_s) <= end_s ? early_s : late_s) = middle_s;
  }
  return early_s;
}

class PowerGroup {
 public:
  // REQUIRES: tasks and profile outlive it.
  PowerGroup(std::span<const PreheatTask> tasks, std::size_t first) : tasks_(tasks) { join(first); }
  void join(std::size_t member) { members_.push_back(member); }
  // Joins, and is placed as late as the members leave it where they are; false if that is not
  // possible, and then nothing is done. REQUIRES: it is solved.
  bool join_before(std::size_t member, const PowerProfile& profile);
  [[nodiscard]] const std::vector<std::size_t>& members() const { return members_; }

  // Leaves the profile as it was.
  void solve(const PowerProfile& profile, NodeBudget& budget);
  // Takes out members that are driven before `until_s`, no more than `most`; the others stay where
  // they are placed.
  [[nodiscard]] std::vector<std::size_t> take_before(double until_s, std::size_t most);
  // Takes out the `count` members with the last deadlines, where they are placed now.
  [[nodiscard]] PowerGroup split_last(std::size_t count);
  // The same for one that nothing keeps from its latest moment.
  void solve_alone(double at_s, double end_s);
  // As members(), moments of the given timeline.
  [[nodiscard]] const std::vector<PreheatSlot>& slots() const { return slots_; }
  // Whether nobody is late, but some are moved: another order may move them less.
  [[nodiscard]] bool may_improve() const {
    return members_.size() > 1 && !late() && moved_s_ > 0.1;
  }
  // Solves it anew, and keeps what is better.
  void improve(const PowerProfile& profile, NodeBudget& budget);
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
  double moved_s_ = 0;  // in all, if nobody is late
};

}  // namespace forewarm::plan
