#include "plan/level_power.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>
#include <utility>

#include "plan/power_profile.h"

namespace forewarm::plan {

namespace {

// A group takes in no more than this: what is beyond draws what it draws.
constexpr std::size_t kMaxInGroup = 64;
constexpr double kResolutionS = 1e-3;  // of moments that bisection finds
constexpr double kSameWaitS = 1e-6;
constexpr double kRoundingS = 1e-9;

double end_of(const PreheatTask& task, double at_s) { return at_s + task.drive_s(at_s) + kApartS; }

// As late as its window and the power allow.
std::optional<double> place_late(const PreheatTask& task, const PowerProfile& profile) {
  double at = task.line_at(task.latest_s);
  for (int tries = 0; tries < 10'000; ++tries) {
    if (at < task.release_s - kRoundingS) return std::nullopt;
    const auto clash = profile.clash(at, end_of(task, at), task);
    if (!clash) return at;
    // Whatever begins earlier and reaches beyond the clash still clashes: it has to end before.
    if (end_of(task, task.release_s) > *clash) return std::nullopt;
    double early = task.release_s;
    double late = at;
    while (late - early > kResolutionS) {
      const double middle = (early + late) / 2;
      (end_of(task, middle) <= *clash ? early : late) = middle;
    }
    at = task.line_at(early);
  }
  return std::nullopt;
}

// As early as the power allows, `release_s` being its moment of release.
double place_early(const PreheatTask& task, double release_s, const PowerProfile& profile) {
  double at = task.line_after(release_s);
  for (int tries = 0; tries < 10'000; ++tries) {
    if (!profile.clash(at, end_of(task, at), task)) return at;
    const double next = profile.next_end(at);
    if (!std::isfinite(next)) return at;
    at = task.line_after(next);
  }
  return at;
}

class Group {
 public:
  Group(const std::vector<PreheatTask>& all, std::vector<std::size_t> members,
        PowerProfile& profile, std::vector<PreheatSlot>& slots)
      : all_(all), members_(std::move(members)), profile_(profile), slots_(slots) {}

  // Leaves the profile as it was.
  void solve() {
    best_cost_ = std::numeric_limits<double>::infinity();
    at_.assign(members_.size(), 0);
    order_.clear();
    taken_.assign(members_.size(), 0);
    backwards(0);
    if (!std::isfinite(best_cost_)) forwards();
    low_s_ = std::numeric_limits<double>::infinity();
    high_s_ = -low_s_;
    for (const std::size_t m : members_) {
      low_s_ = std::min(low_s_, slots_[m].at_s);
      high_s_ = std::max(high_s_, end_of(all_[m], slots_[m].at_s));
    }
  }
  // The same for one that nothing keeps from its latest moment.
  void solve_alone(double at_s, double end_s) {
    slots_[members_.front()] = {at_s, false};
    low_s_ = at_s;
    high_s_ = end_s;
  }
  void join(std::size_t member) { members_.push_back(member); }
  [[nodiscard]] const std::vector<std::size_t>& members() const { return members_; }
  [[nodiscard]] bool late() const { return slots_[members_.front()].late; }
  // From the first preheat to the last end.
  [[nodiscard]] double low_s() const { return low_s_; }
  [[nodiscard]] double high_s() const { return high_s_; }
  void place() const {
    const bool one = members_.size() == 1;
    for (const std::size_t m : members_) {
      profile_.add({slots_[m].at_s, one ? high_s_ : end_of(all_[m], slots_[m].at_s), all_[m].watts,
                    all_[m].heater});
    }
  }

 private:
  // Orders are tried depth first, the one by deadline first; an order that moves more than the best
  // is left.
  void backwards(double cost) {
    if (cost >= best_cost_) return;
    if (order_.size() == members_.size()) {
      best_cost_ = cost;
      for (std::size_t i = 0; i < members_.size(); ++i) slots_[members_[i]] = {at_[i], false};
      return;
    }
    const bool all = members_.size() <= kMaxTried;
    for (std::size_t i = 0; i < members_.size(); ++i) {
      if (taken_[i] != 0) continue;
      const PreheatTask& task = all_[members_[i]];
      if (const auto at = place_late(task, profile_)) {
        at_[i] = *at;
        taken_[i] = 1;
        order_.push_back(i);
        profile_.add({*at, end_of(task, *at), task.watts, task.heater});
        backwards(cost + (task.latest_s - *at));
        profile_.remove_last();
        order_.pop_back();
        taken_[i] = 0;
      } else if (all) {
        return;  // placed later in this order it would fare no better
      }
      if (!all) return;
      if (best_cost_ <= 0) return;
    }
  }

  // The members by deadline, and how long others of them were waited for before each.
  struct ByDeadline {
    std::vector<std::size_t> order;
    std::vector<double> waited_s;  // as members_
  };
  // One order of placing in which some are late; as members_.
  struct LatePlacement {
    std::vector<double> at_s, late_s;
    double total_s = std::numeric_limits<double>::infinity();
  };

  // Some are late, whatever the order: the order is taken that waits least in all.
  void forwards() {
    const ByDeadline due = by_deadline();
    std::vector<std::size_t> permuted(members_.size());
    std::iota(permuted.begin(), permuted.end(), std::size_t{0});
    LatePlacement best;
    do {
      LatePlacement tried = place_all_early(permuted, due);
      if (tried.total_s < best.total_s - kSameWaitS) best = std::move(tried);
    } while (members_.size() <= kMaxTried &&
             std::next_permutation(permuted.begin(), permuted.end()));
    const std::vector<double> latest = latest_of(best, due);
    as_late(std::move(best.at_s), latest);
  }

  [[nodiscard]] ByDeadline by_deadline() const {
    ByDeadline due;
    due.order.resize(members_.size());
    std::iota(due.order.begin(), due.order.end(), std::size_t{0});
    std::sort(due.order.begin(), due.order.end(), [this](std::size_t a, std::size_t b) {
      return all_[members_[a]].deadline_s < all_[members_[b]].deadline_s;
    });
    due.waited_s.assign(members_.size(), 0);
    double sum = 0;
    for (const std::size_t i : due.order) {
      due.waited_s[i] = sum;
      sum += all_[members_[i]].wait_s;
    }
    return due;
  }

  // Each as early as the power allows, in the order `permuted` of due.order. A wait stops the
  // machine, so each later deadline, and each later release, is later by it: repeated until the
  // waits agree.
  LatePlacement place_all_early(const std::vector<std::size_t>& permuted, const ByDeadline& due) {
    LatePlacement out;
    out.at_s.resize(members_.size());
    out.late_s.assign(members_.size(), 0);
    out.total_s = 0;
    for (std::size_t sweep = 0; sweep <= members_.size(); ++sweep) {
      for (const std::size_t p : permuted) {
        const std::size_t i = due.order[p];
        const PreheatTask& task = all_[members_[i]];
        out.at_s[i] = place_early(task, release_s(task, due, out.late_s), profile_);
        profile_.add({out.at_s[i], end_of(task, out.at_s[i]), task.watts, task.heater});
      }
      profile_.remove_last(members_.size());
      out.total_s = 0;
      const std::vector<double> before = out.late_s;
      for (const std::size_t i : due.order) {
        const PreheatTask& task = all_[members_[i]];
        const double need = task.deadline_s - due.waited_s[i] + out.total_s;
        out.late_s[i] = std::max(0.0, out.at_s[i] + task.drive_s(out.at_s[i]) - need);
        out.total_s += out.late_s[i];
      }
      if (out.late_s == before) break;
    }
    return out;
  }

  // When a task is released, with these waits in place of those of the timeline it comes from.
  [[nodiscard]] double release_s(const PreheatTask& task, const ByDeadline& due,
                                 const std::vector<double>& late_s) const {
    double old_s = 0;
    for (const std::size_t i : due.order) {
      if (all_[members_[i]].deadline_s < task.release_s) old_s += all_[members_[i]].wait_s;
    }
    double release = task.release_s - old_s;
    for (std::size_t j = 0; j < members_.size(); ++j) {
      if (all_[members_[j]].deadline_s < task.release_s) release += late_s[j];
    }
    return release;
  }

  // The latest moment of each, by the waits of that placement, at which it is ready with its lead.
  [[nodiscard]] std::vector<double> latest_of(const LatePlacement& best,
                                              const ByDeadline& due) const {
    std::vector<double> latest(members_.size());
    double total = 0;
    for (const std::size_t i : due.order) {
      const PreheatTask& task = all_[members_[i]];
      const double ready = task.latest_s + task.drive_s(task.latest_s) - due.waited_s[i] + total;
      total += best.late_s[i];
      double early = best.at_s[i];
      double late = task.latest_s - due.waited_s[i] + total;
      while (late - early > kResolutionS) {
        const double middle = (early + late) / 2;
        (middle + task.drive_s(middle) <= ready ? early : late) = middle;
      }
      latest[i] = early;
    }
    return latest;
  }

  // A preheat is early only as far as that saves waiting: each as late as the others leave it.
  void as_late(std::vector<double> at, const std::vector<double>& latest) {
    std::vector<std::size_t> by_end(members_.size());
    std::iota(by_end.begin(), by_end.end(), std::size_t{0});
    const auto drawn = [&](std::size_t i) {
      const PreheatTask& task = all_[members_[i]];
      return PowerLoad{at[i], end_of(task, at[i]), task.watts, task.heater};
    };
    std::stable_sort(by_end.begin(), by_end.end(),
                     [&](std::size_t a, std::size_t b) { return drawn(a).to_s > drawn(b).to_s; });
    for (const std::size_t i : by_end) {
      PreheatTask task = all_[members_[i]];
      task.release_s = at[i];
      task.latest_s = latest[i];
      if (task.latest_s > at[i]) {
        for (std::size_t j = 0; j < members_.size(); ++j) {
          if (j != i) profile_.add(drawn(j));
        }
        if (const auto later = place_late(task, profile_)) at[i] = *later;
        profile_.remove_last(members_.size() - 1);
      }
      slots_[members_[i]] = {at[i], true};
    }
  }

  const std::vector<PreheatTask>& all_;
  std::vector<std::size_t> members_;
  PowerProfile& profile_;
  std::vector<PreheatSlot>& slots_;
  double low_s_ = 0, high_s_ = 0;
  double best_cost_ = 0;
  std::vector<double> at_;
  std::vector<std::size_t> order_;
  std::vector<char> taken_;
};

}  // namespace

std::vector<PreheatSlot> level_power(const std::vector<PreheatTask>& tasks,
                                     const std::vector<PowerLoad>& fixed, double limit_w) {
  std::vector<PreheatSlot> slots(tasks.size());
  std::vector<std::size_t> order(tasks.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::vector<double> lines(tasks.size());
  std::vector<double> ends(tasks.size());
  for (std::size_t i = 0; i < tasks.size(); ++i) {
    lines[i] = tasks[i].line_at(tasks[i].latest_s);
    ends[i] = end_of(tasks[i], lines[i]);
  }
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return ends[a] != ends[b] ? ends[a] > ends[b] : a < b;
  });
  PowerProfile profile(fixed, limit_w);
  std::vector<Group> groups;  // placed, the first in time last
  groups.reserve(tasks.size());
  for (std::size_t next = 0; next < order.size();) {
    // A group: those that reach into the time of others of it, wherever these have been moved.
    const std::size_t first = order[next++];
    Group group(tasks, {first}, profile, slots);
    // Most compete with none.
    const bool alone = (next == order.size() || ends[order[next]] <= lines[first]) &&
                       lines[first] >= tasks[first].release_s - kRoundingS &&
                       profile.within_limit(tasks[first].watts) &&
                       profile.idle(lines[first], ends[first]);
    if (alone) {
      group.solve_alone(lines[first], ends[first]);
    } else {
      group.solve();
    }
    for (bool grown = !alone; grown;) {
      grown = false;
      while (next < order.size() && ends[order[next]] > group.low_s() &&
             group.members().size() < kMaxInGroup) {
        group.join(order[next++]);
        group.solve();
      }
      // If some are late, they may be less so where a group that comes later makes room.
      while (group.late() && !groups.empty() &&
             group.members().size() + groups.back().members().size() <= kMaxInGroup) {
        const Group& after = groups.back();
        profile.remove_last(after.members().size());
        group.solve();
        if (group.high_s() <= after.low_s()) {
          after.place();
          break;
        }
        for (const std::size_t m : after.members()) group.join(m);
        groups.pop_back();
        group.solve();
        grown = true;
      }
    }
    group.place();
    groups.push_back(std::move(group));
    profile.forget_old();
  }
  return slots;
}

}  // namespace forewarm::plan
