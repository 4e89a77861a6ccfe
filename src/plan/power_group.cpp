#include "plan/power_group.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>
#include <utility>

namespace forewarm::plan {

namespace {

constexpr double kResolutionS = 1e-3;  // of moments that bisection finds
constexpr double kSameWaitS = 1e-6;
constexpr double kRoundingS = 1e-9;
constexpr double kWorthAWarmerLevelS = 0.01;
constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr int kMaxTries = 10'000;
constexpr std::size_t kMaxInTimeNodes = 200;

template <class T>
using OfMembers = std::array<T, kMaxGroup>;
using Set = std::uint32_t;  // of members
constexpr bool has(Set set, std::size_t i) { return ((set >> i) & 1U) != 0; }

// What a schedule is judged by, the less the better: how many begin although power is short, and
// what is waited.
struct Judged {
  int over = 0;
  double waits_s = 0;
  [[nodiscard]] bool better_than(const Judged& o, double by_s) const {
    return over != o.over ? over < o.over : waits_s < o.waits_s - by_s;
  }
};

// Preheats begun in the order of time so far.
struct Course {
  GroupClock clock;
  double now_s = 0;
  Set begun = 0;
  int over = 0;
  OfMembers<double> at_s{}, end_s{};  // of those begun
};

// The last line, no later than `latest_s`, from which a drive does not clash; none before
// `release_s`. clash(at, end): the first moment at which one clashes.
template <class LineAt, class End, class Clash>
std::optional<double> latest_place(double release_s, double latest_s, const LineAt& line_at,
                                   const End& end_s, const Clash& clash) {
  double at = line_at(latest_s);
  for (int tries = 0; tries < kMaxTries && at >= release_s - kRoundingS; ++tries) {
    const std::optional<double> first = clash(at, end_s(at));
    if (!first) return at;
    // Whatever begins earlier and reaches beyond the clash still clashes: it has to end before.
    if (end_s(release_s) > *first) return std::nullopt;
    at = line_at(latest_ending_by(*first, release_s, at, [&](double t) { return end_s(t) - t; }));
  }
  return std::nullopt;
}

// The members by deadline, so that stop k is that of member k.
class Search {
 public:
  Search(std::span<const PreheatTask> tasks, const std::vector<std::size_t>& members,
         const PowerProfile& profile, NodeBudget& budget)
      : profile_(profile), budget_(budget), members_(members) {
    std::sort(members_.begin(), members_.end(), [&](std::size_t a, std::size_t b) {
      const double x = tasks[a].deadline_s, y = tasks[b].deadline_s;
      return x != y ? x < y : a < b;
    });
    for (const std::size_t m : members_) {
      tasks_.push_back(&tasks[m]);
      clock_.add_stop(tasks[m].deadline_s, tasks[m].wait_s);
    }
    begins_s_ = kInfinity;
    for (std::size_t i = 0; i < size(); ++i) {
      released_after_[i] = clock_.stops_before(task(i).release_s);
      begins_s_ = std::min(begins_s_, task(i).release_s);
    }
  }

  // Slots and loads of the members, in their order here.
  struct Result {
    std::vector<PreheatSlot> slots;
    std::vector<PowerLoad> loads;
  };
  [[nodiscard]] const std::vector<std::size_t>& members() const { return members_; }

  [[nodiscard]] double moved_s() const { return least_moved_s_; }

  Result solve() {
    if (all_in_time()) return result(false);
    Judged waits = least_waits();
    if (warmer_may_help(waits)) waits = with_warmer_levels(waits);
    if (any_warmer() && waits.over == 0 && waits.waits_s <= kSameWaitS && all_in_time()) {
      return result(false);
    }
    clock_ = best_.clock;
    at_s_ = best_.at_s;
    begin_late();
    return result(true);
  }

 private:
  [[nodiscard]] std::size_t size() const { return members_.size(); }
  [[nodiscard]] const PreheatTask& task(std::size_t i) const { return *tasks_[i]; }
  [[nodiscard]] const ParkedHeater& heater(std::size_t i) const { return *task(i).parked; }
  [[nodiscard]] bool is_driven(std::size_t i) const { return heater(i).is_driven(level_[i]); }
  [[nodiscard]] Set driven() const {
    Set set = 0;
    for (std::size_t i = 0; i < size(); ++i) set |= Set(is_driven(i)) << i;
    return set;
  }
  [[nodiscard]] double release_s(const GroupClock& clock, std::size_t i) const {
    return clock.moved(task(i).release_s, released_after_[i]);
  }
  [[nodiscard]] double ready_s(const GroupClock& clock, std::size_t i, double at_s) const {
    return at_s + heater(i).ready_s(level_[i], std::max(0.0, at_s - release_s(clock, i)));
  }
  // When another may begin.
  [[nodiscard]] double end_s(const GroupClock& clock, std::size_t i, double at_s) const {
    const double drive_s = heater(i).drive_s(level_[i], std::max(0.0, at_s - release_s(clock, i)));
    return drive_s > 0 ? at_s + drive_s + kApartS : at_s;
  }
  [[nodiscard]] PowerLoad load(std::size_t i, double at_s, double end_s) const {
    return {at_s, end_s, task(i).watts, task(i).heater};
  }
  // Within [from_s, to_s) of the clock's time, beside `i`: all but the members.
  void find_near(const GroupClock& clock, std::size_t i, double from_s, double to_s) const {
    near_.clear();
    const double given_s = clock.given(from_s);
    profile_.find_near(given_s, std::max(clock.given(to_s), given_s + (to_s - from_s)),
                       task(i).heater, near_);
    // What comes behind its stop does not begin before it is ready; right at the stop, it may stand
    // before its wait.
    std::erase_if(near_,
                  [&](const PowerLoad& l) { return l.from_s > task(i).deadline_s + kResolutionS; });
    for (PowerLoad& l : near_) {
      const double from = clock.as_known(l.from_s);
      l = {from, from + (l.to_s - l.from_s), l.watts, l.heater};
    }
  }
  void add_near(std::size_t i, const PowerLoad& l) const {
    if (l.heater == kOther || l.heater != task(i).heater) near_.push_back(l);
  }

  // --- None late: placed backwards in time -------------------------------------------------------

  // Whether some order has all in time; then clock_ and at_s_ hold the one that moves them least.
  bool all_in_time() {
    clock_.wait_for_none();
    for (std::size_t i = 0; i < size(); ++i) latest_s_[i] = latest_s(i);
    least_moved_s_ = kInfinity;
    nodes_ = 0;
    placed_.clear();
    OfMembers<double> at_s{};
    place(driven(), 0, at_s);
    return std::isfinite(least_moved_s_);
  }

  [[nodiscard]] double latest_s(std::size_t i) const {
    if (!is_driven(i)) return 0;
    const double lead_s = task(i).deadline_s - heater(i).latest_s(level_[i]);
    return clock_.stop_s(i) - lead_s;
  }

  // Heated at once it may be late all the same.
  [[nodiscard]] bool is_late(std::size_t i, double at_s) const {
    return ready_s(clock_, i, at_s) > clock_.stop_s(i) + kResolutionS;
  }

  void place(Set left, double moved_s, OfMembers<double>& at_s) {
    if (left == 0) {
      least_moved_s_ = moved_s;
      at_s_ = at_s;
      return;
    }
    // Whether all are in time matters more than how little they are moved.
    if (!look_on(std::isfinite(least_moved_s_), kMaxInTimeNodes, budget_.in_time)) return;
    // What is placed later finds no more room than now.
    OfMembers<double> latest{};
    double least_s = moved_s;
    for (std::size_t i = 0; i < size(); ++i) {
      if (!has(left, i)) continue;
      const auto at = place_late(i, release_s(clock_, i), latest_s_[i], placed_);
      if (!at || is_late(i, *at)) return;
      latest[i] = *at;
      least_s += latest_s_[i] - *at;
    }
    for (std::size_t i = size(); i-- > 0;) {
      if (least_s >= least_moved_s_ - kSameWaitS) return;
      if (!has(left, i)) continue;
      at_s[i] = latest[i];
      placed_.push_back(load(i, latest[i], end_s(clock_, i, latest[i])));
      place(left & ~(Set{1} << i), moved_s + latest_s_[i] - latest[i], at_s);
      placed_.pop_back();
    }
  }

  // As late as the window and the power allow.
  [[nodiscard]] std::optional<double> place_late(std::size_t i, double release_s, double latest_s,
                                                 const std::vector<PowerLoad>& members) const {
    return latest_place(
        release_s, latest_s, [&](double t) { return clock_.line_at(heater(i), t); },
        [&](double t) { return end_s(clock_, i, t); },
        [&](double at_s, double end_s) {
          find_near(clock_, i, at_s, end_s);
          for (const PowerLoad& l : members) add_near(i, l);
          return first_clash(near_, at_s, end_s, task(i).watts, profile_.limit_w());
        });
  }

  // --- Some late: begun in the order of time -----------------------------------------------------

  // best_ is the course that waits least.
  Judged least_waits() {
    best_judged_ = {std::numeric_limits<int>::max(), kInfinity};
    nodes_ = 0;
    Course course;
    course.clock = clock_;
    course.clock.forget_waits();
    course.now_s = begins_s_;
    go_on(course);
    return best_judged_;
  }

  void go_on(Course& course) {
    const Set left = driven() & ~course.begun;
    if (left == 0) {
      while (course.clock.known() < size()) pass_stop(course);
      const Judged judged{course.over, course.clock.waited_s()};
      if (!judged.better_than(best_judged_, kSameWaitS)) return;
      best_judged_ = judged;
      best_ = course;
      return;
    }
    const bool any = best_judged_.over != std::numeric_limits<int>::max();
    if (!look_on(any, most_nodes(), budget_.late)) {
      budget_.ran_out = true;
      return;
    }
    if (any && !bound(course, left).better_than(best_judged_, kSameWaitS)) return;
    for (std::size_t i = 0; i < size(); ++i) {
      if (!has(left, i)) continue;
      Course next = course;
      if (begin(i, next)) go_on(next);
      if (nodes_ >= most_nodes()) {
        budget_.ran_out = true;
        return;
      }
    }
  }

  // The machine gets past the next stop. False if its heater is not told yet.
  bool pass_stop(Course& course) const {
    GroupClock& clock = course.clock;
    const std::size_t k = clock.known();
    const double stop_s = clock.stop_s(k);
    double wait_s = 0;
    if (is_driven(k)) {
      if (!has(course.begun, k)) return false;
      wait_s = ready_s(clock, k, course.at_s[k]) - stop_s;
      if (wait_s < kSameWaitS) wait_s = 0;
    }
    clock.wait(wait_s);
    course.now_s = std::max(course.now_s, stop_s + wait_s);
    return true;
  }

  // As early as time and power allow; by its stop at the latest. False if another has to begin
  // first.
  bool begin(std::size_t i, Course& course) const {
    for (int tries = 0; tries < kMaxTries; ++tries) {
      const GroupClock& clock = course.clock;
      const std::size_t known = clock.known();
      if (known < released_after_[i]) {
        if (!pass_stop(course)) return false;
        continue;
      }
      const double given_s = std::max(course.now_s - clock.shift_s(), task(i).release_s);
      const double line_s = heater(i).line_after(given_s);
      const bool stopped = known < size() && clock.given_stop_s(known) < line_s - kRoundingS;
      if (stopped && known != i) {
        if (!pass_stop(course)) return false;
        continue;
      }
      double at_s = line_s + clock.shift_s();
      if (stopped) at_s = std::max(clock.stop_s(i), release_s(clock, i));
      const double end = end_s(clock, i, at_s);
      find_near(clock, i, at_s, end);
      for (std::size_t j = 0; j < size(); ++j) {
        if (!has(course.begun, j)) continue;
        // Behind its wait it is ready for certain.
        const bool waited_for = j < known && clock.waited_s(j) > 0;
        add_near(i, load(j, course.at_s[j], course.end_s[j] - (waited_for ? kApartS : 0)));
      }
      const bool clash =
          first_clash(near_, at_s, end, task(i).watts, profile_.limit_w()).has_value();
      const double next_s = clash && !stopped ? next_end(at_s) : kInfinity;
      if (std::isfinite(next_s)) {
        course.now_s = next_s;
        continue;
      }
      course.over += clash ? 1 : 0;
      course.at_s[i] = at_s;
      course.end_s[i] = end;
      course.begun |= Set{1} << i;
      course.now_s = std::max(course.now_s, at_s);
      return true;
    }
    return false;
  }

  // Of near_. A member may be waited for until it is ready, and then is kept apart no longer.
  [[nodiscard]] double next_end(double after_s) const {
    double next = kInfinity;
    for (const PowerLoad& l : near_) {
      const double ready_s = l.to_s - kApartS;
      if (ready_s > after_s + kSameWaitS) {
        next = std::min(next, ready_s);
      } else if (l.to_s > after_s + kSameWaitS) {
        next = std::min(next, l.to_s);
      }
    }
    return next;
  }

  // What no way to go on can better: each of those left alone, as early as can be; and what they
  // take together.
  [[nodiscard]] Judged bound(const Course& course, Set left) const {
    const GroupClock& clock = course.clock;
    double late_s = 0;
    double work_s = 0;
    double least_w = kInfinity;
    for (std::size_t i = 0; i < size(); ++i) {
      if (has(left, i)) least_w = std::min(least_w, task(i).watts);
    }
    const double limit_w = profile_.limit_w();
    const bool one_by_one = 2 * least_w > limit_w + kSameWaitS;
    for (std::size_t i = clock.known(); i < size(); ++i) {
      if (!is_driven(i)) continue;
      const double need_s = clock.stop_s(i);
      if (!has(left, i)) {
        late_s = std::max(late_s, ready_s(clock, i, course.at_s[i]) - need_s);
        continue;
      }
      const double begin_s = std::max(course.now_s, release_s(clock, i));
      late_s = std::max(late_s, ready_s(clock, i, begin_s) - need_s);
      const double drive_s = end_s(clock, i, begin_s) - begin_s - kApartS;
      work_s += one_by_one ? drive_s : drive_s * std::min(1.0, task(i).watts / limit_w);
      late_s = std::max(late_s, course.now_s + work_s - need_s);
    }
    return {course.over, clock.waited_s() + std::max(0.0, late_s)};
  }

  // --- Warmer levels -----------------------------------------------------------------------------

  [[nodiscard]] bool any_warmer() const {
    return std::any_of(level_.begin(), level_.end(), [](std::size_t l) { return l > 0; });
  }
  [[nodiscard]] bool warmer_may_help(const Judged& waits) const {
    if (waits.over == 0 && waits.waits_s <= kWorthAWarmerLevelS) return false;
    for (std::size_t i = 0; i < size(); ++i) {
      if (heater(i).levels() > 1) return true;
    }
    return false;
  }

  // With all as warm as can be nobody is later; then those whose gaps are longest, and who cost
  // most by it, are as cool again as that leaves them.
  Judged with_warmer_levels(const Judged& cool) {
    const Course coolest = best_;
    for (std::size_t i = 0; i < size(); ++i) level_[i] = heater(i).levels() - 1;
    Judged least = least_waits();
    if (!least.better_than(cool, kWorthAWarmerLevelS)) {
      level_.fill(0);
      best_ = coolest;
      return cool;
    }
    std::vector<std::size_t> longest(size());
    std::iota(longest.begin(), longest.end(), std::size_t{0});
    std::stable_sort(longest.begin(), longest.end(), [&](std::size_t a, std::size_t b) {
      return task(a).deadline_s - task(a).release_s > task(b).deadline_s - task(b).release_s;
    });
    Course best = best_;
    for (const std::size_t i : longest) {
      const std::size_t warm = level_[i];
      for (level_[i] = 0; level_[i] < warm; ++level_[i]) {
        const Judged judged = least_waits();
        if (least.better_than(judged, kWorthAWarmerLevelS)) continue;
        best = best_;
        break;
      }
    }
    best_ = best;
    return {best.over, best.clock.waited_s()};
  }

  // --- What it comes to --------------------------------------------------------------------------

  // A preheat is early only as far as that saves waiting: each as late as the others leave it.
  void begin_late() {
    std::vector<std::size_t> by_end;
    for (std::size_t i = 0; i < size(); ++i) {
      if (is_driven(i)) by_end.push_back(i);
    }
    std::stable_sort(by_end.begin(), by_end.end(), [&](std::size_t a, std::size_t b) {
      return end_s(clock_, a, at_s_[a]) > end_s(clock_, b, at_s_[b]);
    });
    for (const std::size_t i : by_end) {
      const double latest = latest_not_late(i);
      if (latest > at_s_[i]) place_between(i, at_s_[i], latest, by_end);
    }
    // The order of time may have kept one from its lead.
    for (const std::size_t i : by_end) {
      if (latest_s(i) < at_s_[i]) place_between(i, release_s(clock_, i), latest_s(i), by_end);
    }
  }

  // As late as the others leave it; where it is, if they do not.
  void place_between(std::size_t i, double early_s, double latest_s,
                     const std::vector<std::size_t>& others) {
    placed_.clear();
    for (const std::size_t j : others) {
      // What is waited for is followed by nothing until it is ready.
      const double apart_s = clock_.waited_s(j) > 0 ? kApartS : 0;
      if (j != i) placed_.push_back(load(j, at_s_[j], end_s(clock_, j, at_s_[j]) - apart_s));
    }
    if (const auto at = place_late(i, early_s, latest_s, placed_)) at_s_[i] = *at;
  }

  // No later than its lead asks for, nor than it is ready when it is reached. Who is waited for
  // stays.
  [[nodiscard]] double latest_not_late(std::size_t i) const {
    const double early = at_s_[i];
    const double late = latest_s(i);
    if (late <= early || is_late(i, early)) return early;
    return latest_ending_by(clock_.stop_s(i), early, late,
                            [&](double t) { return ready_s(clock_, i, t) - t; });
  }

  [[nodiscard]] Result result(bool late) const {
    Result out;
    for (std::size_t i = 0; i < size(); ++i) {
      const double at_s = is_driven(i) ? clock_.given(at_s_[i]) : task(i).release_s;
      out.slots.push_back({at_s, level_[i], late, clock_.waited_s(i)});
      const double from_s = is_driven(i) ? at_s : kInfinity;
      const double length_s = is_driven(i) ? end_s(clock_, i, at_s_[i]) - at_s_[i] : 0;
      out.loads.push_back(load(i, from_s, from_s + length_s));
    }
    return out;
  }

  [[nodiscard]] std::size_t most_nodes() const {
    return size() <= kMaxExact ? kMaxNodes : 2 * size();
  }

  // Counts a partial order. The first dive is always made.
  bool look_on(bool any, std::size_t most, std::size_t& left) {
    if (any || nodes_ >= size()) {
      if (nodes_ >= most || left == 0) return false;
      --left;
    }
    ++nodes_;
    return true;
  }

  const PowerProfile& profile_;
  NodeBudget& budget_;
  std::vector<std::size_t> members_;
  std::vector<const PreheatTask*> tasks_;    // as members_
  OfMembers<std::size_t> released_after_{};  // so many stops
  OfMembers<std::size_t> level_{};
  double begins_s_ = 0;
  std::size_t nodes_ = 0;
  mutable std::vector<PowerLoad> near_;  // its memory is used for each clash

  GroupClock clock_;  // of the result
  OfMembers<double> at_s_{};
  // all_in_time()
  OfMembers<double> latest_s_{};
  double least_moved_s_ = 0;
  std::vector<PowerLoad> placed_;
  // least_waits()
  Judged best_judged_;
  Course best_;
};

}  // namespace

void PowerGroup::solve(const PowerProfile& profile, NodeBudget& budget) {
  Search search(tasks_, members_, profile, budget);
  Search::Result result = search.solve();
  members_ = search.members();
  moved_s_ = search.moved_s();
  slots_ = std::move(result.slots);
  loads_ = std::move(result.loads);
  find_span();
}

void PowerGroup::find_span() {
  low_s_ = kInfinity;
  high_s_ = -kInfinity;
  for (const PowerLoad& l : loads_) {
    if (!std::isfinite(l.from_s)) continue;
    low_s_ = std::min(low_s_, l.from_s);
    high_s_ = std::max(high_s_, l.to_s);
  }
}

bool PowerGroup::join_before(std::size_t member, const PowerProfile& profile) {
  const PreheatTask& task = tasks_[member];
  const bool waits = task.wait_s > 0 || std::any_of(members_.begin(), members_.end(),
                                                    [&](auto m) { return tasks_[m].wait_s > 0; });
  if (waits || late()) return false;
  const ParkedHeater& heater = *task.parked;
  const double latest_s = heater.latest_s(0);
  const auto end_s = [&](double at_s) {
    return at_s + heater.drive_s(0, std::max(0.0, at_s - task.release_s)) + kApartS;
  };
  const auto ready_s = [&](double at_s) {
    return at_s + heater.ready_s(0, std::max(0.0, at_s - task.release_s));
  };
  std::vector<PowerLoad> near;
  const auto place = latest_place(
      task.release_s, latest_s, [&](double t) { return heater.line_at(t); }, end_s,
      [&](double at_s, double until_s) {
        near.clear();
        profile.find_near(at_s, until_s, task.heater, near);
        for (const PowerLoad& l : loads_) {
          if (l.heater == kOther || l.heater != task.heater) near.push_back(l);
        }
        return first_clash(near, at_s, until_s, task.watts, profile.limit_w());
      });
  if (!place || ready_s(*place) > task.deadline_s) return false;
  const double at = *place;
  members_.push_back(member);
  slots_.push_back({at, 0, false});
  loads_.push_back({at, end_s(at), task.watts, task.heater});
  moved_s_ += latest_s - at;
  find_span();
  return true;
}

void PowerGroup::improve(const PowerProfile& profile, NodeBudget& budget) {
  PowerGroup anew = *this;
  anew.solve(profile, budget);
  if (!anew.late() && anew.moved_s_ < moved_s_) *this = std::move(anew);
}

std::vector<std::size_t> PowerGroup::take_before(double until_s, std::size_t most) {
  std::vector<std::size_t> taken;
  for (std::size_t m = members_.size(); m-- > 0 && taken.size() < most;) {
    if (loads_[m].from_s >= until_s) continue;
    taken.push_back(members_[m]);
    members_.erase(members_.begin() + std::ptrdiff_t(m));
    slots_.erase(slots_.begin() + std::ptrdiff_t(m));
    loads_.erase(loads_.begin() + std::ptrdiff_t(m));
  }
  find_span();
  return taken;
}

PowerGroup PowerGroup::split_last(std::size_t count) {
  const auto from = std::ptrdiff_t(members_.size() - count);
  PowerGroup last = *this;
  const auto keep_last = [from](auto& list) { list.erase(list.begin(), list.begin() + from); };
  keep_last(last.members_), keep_last(last.slots_), keep_last(last.loads_);
  const auto keep_first = [from](auto& list) { list.resize(std::size_t(from)); };
  keep_first(members_), keep_first(slots_), keep_first(loads_);
  last.find_span();
  find_span();
  return last;
}

void PowerGroup::solve_alone(double at_s, double end_s) {
  const PreheatTask& task = tasks_[members_.front()];
  slots_ = {{at_s, 0, false}};
  loads_ = {{at_s, end_s, task.watts, task.heater}};
  low_s_ = at_s;
  high_s_ = end_s;
  moved_s_ = 0;
}

}  // namespace forewarm::plan
