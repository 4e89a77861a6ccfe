#include "plan/power_schedule.h"

#include <algorithm>
#include <numeric>
#include <utility>

#include "plan/power_group.h"
#include "plan/power_profile.h"

namespace forewarm::plan {

namespace {

constexpr double kRoundingS = 1e-9;

// Goes through the preheats backwards in time, and makes groups of those that reach into each
// other's.
class Scheduler {
 public:
  Scheduler(const std::vector<PreheatTask>& tasks, const std::vector<PowerLoad>& fixed,
            double limit_w)
      : tasks_(tasks), profile_(fixed, limit_w), limit_w_(limit_w) {
    // Enough for each search of a group, as long as there are not many that are large.
    budget_.late = 4 * kMaxNodes + 4 * tasks.size();
    budget_.in_time = kMaxNodes + tasks.size();
    out_.slots.resize(tasks.size());
    lines_.resize(tasks.size());
    ends_.resize(tasks.size());
    order_.resize(tasks.size());
    std::iota(order_.begin(), order_.end(), std::size_t{0});
    for (std::size_t i = 0; i < tasks.size(); ++i) {
      const ParkedHeater& heater = *tasks[i].parked;
      lines_[i] = heater.line_at(heater.latest_s(0));
      ends_[i] =
          lines_[i] + heater.drive_s(0, std::max(0.0, lines_[i] - tasks[i].release_s)) + kApartS;
    }
    std::sort(order_.begin(), order_.end(), [this](std::size_t a, std::size_t b) {
      return ends_[a] != ends_[b] ? ends_[a] > ends_[b] : a < b;
    });
  }

  PowerSchedule run() {
    groups_.reserve(tasks_.size());
    while (next_ < order_.size()) {
      PowerGroup group(tasks_, order_[next_++]);
      grow(group);
      place(std::move(group));
      profile_.forget_old();
    }
    for (const PowerGroup& group : groups_) take(group);
    out_.exact = !cut_ && !budget_.ran_out;
    return std::move(out_);
  }

 private:
  void grow(PowerGroup& group) {
    if (is_alone(group.members().front())) {
      const std::size_t i = group.members().front();
      group.solve_alone(lines_[i], ends_[i]);
      return;
    }
    group.solve(profile_, budget_);
    for (bool grown = true; grown;) {
      grown = false;
      while (next_ < order_.size() && ends_[order_[next_]] > group.low_s()) {
        if (group.members().size() >= (group.late() ? kMaxGroup : kMaxExact)) place_last(group);
        const std::size_t joins = order_[next_++];
        if (!group.join_before(joins, profile_)) {
          group.join(joins);
          group.solve(profile_, budget_);
        }
      }
      if (group.may_improve()) {
        const double low_s = group.low_s();
        group.improve(profile_, budget_);
        grown = group.low_s() < low_s;
      }
      // If some are late, they may be less so where a group that comes later makes room.
      if (group.late()) grown = take_in_later(group);
    }
  }

  // Most compete with none.
  [[nodiscard]] bool is_alone(std::size_t i) const {
    return (next_ == order_.size() || ends_[order_[next_]] <= lines_[i]) &&
           lines_[i] >= tasks_[i].release_s - kRoundingS &&
           within_limit(tasks_[i].watts, limit_w_) && profile_.idle(lines_[i], ends_[i]);
  }

  // A group that is late may be less so if those that come later make room: they are taken in if,
  // without them, it would reach into their time. True if any was.
  bool take_in_later(PowerGroup& group) {
    std::size_t first = groups_.size();
    std::size_t loads = 0;
    while (first > 0 && loads + groups_[first - 1].loads().size() <= PowerProfile::kRemembered) {
      loads += groups_[--first].loads().size();
    }
    profile_.remove_last(loads);
    group.solve(profile_, budget_);
    std::vector<std::size_t> taken;
    for (std::size_t g = groups_.size(); g-- > first;) {
      const std::size_t most =
          kMaxGroup - std::min(kMaxGroup, group.members().size() + taken.size());
      for (const std::size_t m : groups_[g].take_before(group.high_s(), most)) taken.push_back(m);
    }
    std::erase_if(groups_, [](const PowerGroup& g) { return g.members().empty(); });
    for (std::size_t g = std::min(first, groups_.size()); g < groups_.size(); ++g) {
      for (const PowerLoad& l : groups_[g].loads()) profile_.add(l);
    }
    for (const std::size_t m : taken) group.join(m);
    group.solve(profile_, budget_);
    return !taken.empty();
  }

  // The later half of a group that is too large stays where it is.
  void place_last(PowerGroup& group) {
    cut_ = true;
    PowerGroup later = group.split_last(group.members().size() / 2);
    place(std::move(later));
  }

  void place(PowerGroup group) {
    for (const PowerLoad& l : group.loads()) profile_.add(l);
    groups_.push_back(std::move(group));
  }

  void take(const PowerGroup& group) {
    for (std::size_t i = 0; i < group.members().size(); ++i) {
      out_.slots[group.members()[i]] = group.slots()[i];
    }
  }

  const std::vector<PreheatTask>& tasks_;
  PowerProfile profile_;
  double limit_w_;
  NodeBudget budget_;
  std::vector<double> lines_, ends_;  // as tasks_: alone
  std::vector<std::size_t> order_;    // by end, the last first
  std::size_t next_ = 0;
  std::vector<PowerGroup> groups_;  // placed, the first in time last
  bool cut_ = false;
  PowerSchedule out_;
};

}  // namespace

PowerSchedule schedule_power(const std::vector<PreheatTask>& tasks,
                             const std::vector<PowerLoad>& fixed, double limit_w) {
  return Scheduler(tasks, fixed, limit_w).run();
}

}  // namespace forewarm::plan
