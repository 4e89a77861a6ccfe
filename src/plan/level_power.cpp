#include "plan/level_power.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>

namespace forewarm::plan {

namespace {

// Two that only touch are kept a little apart, so that rounding does not overlap them.
constexpr double kApartS = 0.1;
constexpr double kSlackW = 1e-9;
constexpr std::size_t kMaxPlaced = 256;
// More than this are not looked at as one group: what is over draws what it draws.
constexpr std::size_t kMaxInGroup = 64;

class Profile {
 public:
  Profile(const std::vector<PowerLoad>& fixed, double limit_w) : fixed_(fixed), limit_w_(limit_w) {
    std::sort(fixed_.begin(), fixed_.end(),
              [](const PowerLoad& a, const PowerLoad& b) { return a.from_s < b.from_s; });
    for (const PowerLoad& d : fixed_) longest_s_ = std::max(longest_s_, d.to_s - d.from_s);
  }
  void add(PowerLoad d) {
    placed_.push_back(d);
    lowest_s_ = std::min(lowest_s_, d.from_s);
  }
  // Of what is placed for good, only the last matter: the next come before them in time.
  void forget_old() {
    if (placed_.size() > kMaxPlaced) {
      placed_.erase(placed_.begin(), placed_.end() - std::ptrdiff_t(kMaxPlaced / 2));
    }
  }
  void drop() { placed_.pop_back(); }
  void drop(std::size_t count) {
    placed_.erase(placed_.end() - std::ptrdiff_t(count), placed_.end());
  }

  // Nothing draws, or has drawn until it was moved, at any time in [from_s, to_s).
  [[nodiscard]] bool alone(double from_s, double to_s) const {
    if (to_s > lowest_s_) return false;
    auto at = std::lower_bound(fixed_.begin(), fixed_.end(), from_s - longest_s_ - kApartS,
                               [](const PowerLoad& d, double t) { return d.from_s < t; });
    for (; at != fixed_.end() && at->from_s < to_s; ++at) {
      if (at->to_s > from_s) return false;
    }
    return true;
  }

  // The first moment in [from_s, to_s) at which those of `h` are too many more.
  [[nodiscard]] std::optional<double> clash(double from_s, double to_s,
                                            const PreheatTask& h) const {
    near_.clear();
    for (const PowerLoad& d : placed_) keep(d, from_s, to_s, h.heater);
    auto at = std::lower_bound(fixed_.begin(), fixed_.end(), from_s - longest_s_ - kApartS,
                               [](const PowerLoad& d, double t) { return d.from_s < t; });
    for (; at != fixed_.end() && at->from_s < to_s; ++at) keep(*at, from_s, to_s, h.heater);
    std::optional<double> first;
    const auto look = [&](double t) {
      if (first && *first <= t) return;
      double power = h.watts;
      for (const PowerLoad& d : near_) {
        if (d.from_s <= t && t < d.to_s) power += d.watts;
      }
      if (power > limit_w_ + kSlackW) first = t;
    };
    look(from_s);
    for (const PowerLoad& d : near_) {
      if (d.from_s > from_s) look(d.from_s);
    }
    return first;
  }
  // The first moment after `t` at which something stops drawing; infinity if nothing does.
  [[nodiscard]] double next_end(double t) const {
    double next = std::numeric_limits<double>::infinity();
    const auto look = [&](const PowerLoad& d) {
      if (d.to_s > t) next = std::min(next, d.to_s);
    };
    for (const PowerLoad& d : placed_) look(d);
    auto at = std::lower_bound(fixed_.begin(), fixed_.end(), t - longest_s_ - kApartS,
                               [](const PowerLoad& d, double s) { return d.from_s < s; });
    for (; at != fixed_.end() && at->from_s <= next; ++at) look(*at);
    return next;
  }

 private:
  void keep(const PowerLoad& d, double from_s, double to_s, std::size_t heater) const {
    if (heater != kOther && d.heater == heater) return;
    if (d.from_s < to_s && d.to_s > from_s) near_.push_back(d);
  }
  std::vector<PowerLoad> fixed_, placed_;
  mutable std::vector<PowerLoad> near_;
  double limit_w_, longest_s_ = 0;
  double lowest_s_ = std::numeric_limits<double>::infinity();  // of all that was ever placed
};

double end_of(const PreheatTask& h, double at_s) { return at_s + h.drive_s(at_s) + kApartS; }

// As late as its window and the power allow.
std::optional<double> place_late(const PreheatTask& h, const Profile& profile) {
  double at = h.line_at(h.latest_s);
  for (int tries = 0; tries < 10'000; ++tries) {
    if (at < h.release_s - 1e-9) return std::nullopt;
    const auto clash = profile.clash(at, end_of(h, at), h);
    if (!clash) return at;
    // Whatever begins earlier and reaches beyond the clash still clashes: it has to end before.
    if (end_of(h, h.release_s) > *clash) return std::nullopt;
    double early = h.release_s;
    double late = at;
    while (late - early > 1e-3) {
      const double middle = (early + late) / 2;
      (end_of(h, middle) <= *clash ? early : late) = middle;
    }
    at = h.line_at(early);
  }
  return std::nullopt;
}

// Told as early as the power allows, `release_s` being its moment of release.
double place_early(const PreheatTask& h, double release_s, const Profile& profile) {
  double at = h.line_after(release_s);
  for (int tries = 0; tries < 10'000; ++tries) {
    if (!profile.clash(at, end_of(h, at), h)) return at;
    const double next = profile.next_end(at);
    if (!std::isfinite(next)) return at;
    at = h.line_after(next);
  }
  return at;
}

class Group {
 public:
  Group(const std::vector<PreheatTask>& all, std::vector<std::size_t> members, Profile& profile,
        std::vector<PreheatSlot>& told)
      : all_(all), members_(std::move(members)), profile_(profile), told_(told) {}

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
      low_s_ = std::min(low_s_, told_[m].at_s);
      high_s_ = std::max(high_s_, end_of(all_[m], told_[m].at_s));
    }
  }
  // The same for one that nothing keeps from being told when it asks to be.
  void solve_alone(double at_s, double end_s) {
    told_[members_.front()] = {at_s, false};
    low_s_ = at_s;
    high_s_ = end_s;
  }
  void join(std::size_t member) { members_.push_back(member); }
  [[nodiscard]] const std::vector<std::size_t>& members() const { return members_; }
  [[nodiscard]] bool late() const { return told_[members_.front()].late; }
  // From the first moment that was told to the last end.
  [[nodiscard]] double low_s() const { return low_s_; }
  [[nodiscard]] double high_s() const { return high_s_; }
  void place() const {
    const bool one = members_.size() == 1;
    for (const std::size_t m : members_) {
      profile_.add({told_[m].at_s, one ? high_s_ : end_of(all_[m], told_[m].at_s), all_[m].watts,
                    all_[m].heater});
    }
  }

 private:
  // Orders are tried depth first, the one by need first; what moves more than the best is left.
  void backwards(double cost) {
    if (cost >= best_cost_) return;
    if (order_.size() == members_.size()) {
      best_cost_ = cost;
      for (std::size_t i = 0; i < members_.size(); ++i) told_[members_[i]] = {at_[i], false};
      return;
    }
    const bool all = members_.size() <= kMaxTried;
    for (std::size_t i = 0; i < members_.size(); ++i) {
      if (taken_[i] != 0) continue;
      const PreheatTask& h = all_[members_[i]];
      if (const auto at = place_late(h, profile_)) {
        at_[i] = *at;
        taken_[i] = 1;
        order_.push_back(i);
        profile_.add({*at, end_of(h, *at), h.watts, h.heater});
        backwards(cost + (h.latest_s - *at));
        profile_.drop();
        order_.pop_back();
        taken_[i] = 0;
      } else if (all) {
        return;  // placed later in this order it would fare no better
      }
      if (!all) return;
      if (best_cost_ <= 0) return;
    }
  }

  // Some are late, whatever the order: the least waiting in all. A wait stops the machine, so each
  // later need, and each later release, is later by it.
  void forwards() {
    std::vector<std::size_t> by_need(members_.size());
    std::iota(by_need.begin(), by_need.end(), std::size_t{0});
    std::sort(by_need.begin(), by_need.end(), [this](std::size_t a, std::size_t b) {
      return all_[members_[a]].need_s < all_[members_[b]].need_s;
    });
    std::vector<double> waited(members_.size(), 0);  // in the timeline that was asked about
    double sum = 0;
    for (const std::size_t i : by_need) {
      waited[i] = sum;
      sum += all_[members_[i]].wait_s;
    }
    const auto old_before = [&](double t) {
      double s = 0;
      for (const std::size_t i : by_need) {
        if (all_[members_[i]].need_s < t) s += all_[members_[i]].wait_s;
      }
      return s;
    };
    std::vector<std::size_t> permuted(members_.size());
    std::iota(permuted.begin(), permuted.end(), std::size_t{0});
    double least = std::numeric_limits<double>::infinity();
    std::vector<double> at(members_.size());
    std::vector<double> late(members_.size(), 0);
    std::vector<double> best_at, best_late;
    do {
      std::fill(late.begin(), late.end(), 0);
      double total = 0;
      for (std::size_t sweep = 0; sweep <= members_.size(); ++sweep) {
        for (const std::size_t p : permuted) {
          const std::size_t i = by_need[p];
          const PreheatTask& h = all_[members_[i]];
          double release = h.release_s - old_before(h.release_s);
          for (std::size_t j = 0; j < members_.size(); ++j) {
            if (all_[members_[j]].need_s < h.release_s) release += late[j];
          }
          at[i] = place_early(h, release, profile_);
          profile_.add({at[i], end_of(h, at[i]), h.watts, h.heater});
        }
        profile_.drop(members_.size());
        total = 0;
        const std::vector<double> before = late;
        for (const std::size_t i : by_need) {
          const PreheatTask& h = all_[members_[i]];
          const double need = h.need_s - waited[i] + total;
          late[i] = std::max(0.0, at[i] + h.drive_s(at[i]) - need);
          total += late[i];
        }
        if (late == before) break;
      }
      if (total < least - 1e-6) {
        least = total;
        best_at = at;
        best_late = late;
      }
    } while (members_.size() <= kMaxTried &&
             std::next_permutation(permuted.begin(), permuted.end()));
    // What each may be told at the latest, by the waits of that order: to be ready with its margin.
    std::vector<double> latest(members_.size());
    double total = 0;
    for (const std::size_t i : by_need) {
      const PreheatTask& h = all_[members_[i]];
      const double ready = h.latest_s + h.drive_s(h.latest_s) - waited[i] + total;
      total += best_late[i];
      double early = best_at[i];
      double late_s = h.latest_s - waited[i] + total;
      while (late_s - early > 1e-3) {
        const double middle = (early + late_s) / 2;
        (middle + h.drive_s(middle) <= ready ? early : late_s) = middle;
      }
      latest[i] = early;
    }
    as_late(std::move(best_at), latest);
  }

  // Told early only as far as that saves waiting: each as late as the others leave it.
  void as_late(std::vector<double> at, const std::vector<double>& latest) {
    std::vector<std::size_t> by_end(members_.size());
    std::iota(by_end.begin(), by_end.end(), std::size_t{0});
    const auto drawn = [&](std::size_t i) {
      const PreheatTask& h = all_[members_[i]];
      return PowerLoad{at[i], end_of(h, at[i]), h.watts, h.heater};
    };
    std::stable_sort(by_end.begin(), by_end.end(),
                     [&](std::size_t a, std::size_t b) { return drawn(a).to_s > drawn(b).to_s; });
    for (const std::size_t i : by_end) {
      PreheatTask h = all_[members_[i]];
      h.release_s = at[i];
      h.latest_s = latest[i];
      if (h.latest_s > at[i]) {
        for (std::size_t j = 0; j < members_.size(); ++j) {
          if (j != i) profile_.add(drawn(j));
        }
        if (const auto later = place_late(h, profile_)) at[i] = *later;
        profile_.drop(members_.size() - 1);
      }
      told_[members_[i]] = {at[i], true};
    }
  }

  const std::vector<PreheatTask>& all_;
  std::vector<std::size_t> members_;
  Profile& profile_;
  std::vector<PreheatSlot>& told_;
  double low_s_ = 0, high_s_ = 0;
  double best_cost_ = 0;
  std::vector<double> at_;
  std::vector<std::size_t> order_;
  std::vector<char> taken_;
};

}  // namespace

std::vector<PreheatSlot> level_power(const std::vector<PreheatTask>& heatings,
                                     const std::vector<PowerLoad>& fixed, double limit_w) {
  std::vector<PreheatSlot> told(heatings.size());
  std::vector<std::size_t> order(heatings.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::vector<double> lines(heatings.size());
  std::vector<double> ends(heatings.size());
  for (std::size_t i = 0; i < heatings.size(); ++i) {
    lines[i] = heatings[i].line_at(heatings[i].latest_s);
    ends[i] = end_of(heatings[i], lines[i]);
  }
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return ends[a] != ends[b] ? ends[a] > ends[b] : a < b;
  });
  Profile profile(fixed, limit_w);
  std::vector<Group> groups;  // placed, the first in time last
  groups.reserve(heatings.size());
  for (std::size_t next = 0; next < order.size();) {
    // A group: those that reach into the time of others of it, wherever these have been moved.
    const std::size_t first = order[next++];
    Group group(heatings, {first}, profile, told);
    // Most compete with none.
    const bool alone = (next == order.size() || ends[order[next]] <= lines[first]) &&
                       lines[first] >= heatings[first].release_s - 1e-9 &&
                       heatings[first].watts <= limit_w + kSlackW &&
                       profile.alone(lines[first], ends[first]);
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
        profile.drop(after.members().size());
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
  return told;
}

}  // namespace forewarm::plan
