#include "check/gap.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/error.h"

namespace forewarm::check {

void LongLines::add(double from_s, double to_s, std::uint64_t line) {
  if (!spans_.empty() && spans_.back().line == line && from_s <= spans_.back().to_s + 1e-6) {
    spans_.back().to_s = std::max(spans_.back().to_s, to_s);
    return;
  }
  if (to_s - from_s < kLongS) return;
  spans_.push_back({from_s, to_s, line});
}

void LongLines::forget_before(double time_s) {
  constexpr std::size_t kWorthIt = 1U << 16U;
  if (spans_.size() < kWorthIt) return;
  spans_.erase(spans_.begin(), std::find_if(spans_.begin(), spans_.end(),
                                            [time_s](const Span& s) { return s.to_s >= time_s; }));
}

double LongLines::line_begin(double time_s) const {
  const auto after = std::upper_bound(spans_.begin(), spans_.end(), time_s,
                                      [](double t, const Span& s) { return t < s.to_s; });
  return after != spans_.end() && after->from_s <= time_s ? after->from_s : time_s;
}

double LongLines::line_end(double time_s) const {
  const auto after = std::upper_bound(spans_.begin(), spans_.end(), time_s,
                                      [](double t, const Span& s) { return t < s.to_s; });
  return after != spans_.end() && after->from_s <= time_s ? after->to_s : time_s;
}

namespace {

using thermal::HeaterState;

constexpr double kSameC = 0.011;  // texts give two decimals
constexpr double kHoldSlackC = 0.7;
// The clock of a plan does not see the stops that its own waits make, some tenths of a second each.
double slack_s(double length_s) { return 1.5 + 0.01 * length_s; }
// Commands stand between lines, and lines up to LongLines::kLongS are not told apart.
constexpr double kLineSlackS = 2.5;

class Judge {
 public:
  Judge(const ObservedGap& gap, const GapRules& rules, Findings& findings)
      : g_(gap), r_(rules), h_(rules.head.hotend), found_(findings) {
    guard_c_ = std::max(g_.out_c, g_.in_c);
    ready_c_ = g_.exchange ? std::max(guard_c_, g_.work_c) : g_.work_c;
    low_c_ = g_.exchange ? std::min(g_.out_c, g_.work_c) : g_.work_c;
    standby_c_ = std::min(g_.standby_c, ready_c_);
    warm_c_ = standby_c_ + kHotAboveStandbyC;
  }

  void run() {
    const Past actual = past(g_.to_s, g_.orders.size());
    needs();
    if (r_.gap.policy != rules::Policy::timers && r_.gap.policy != rules::Policy::as_sliced &&
        !irregular()) {
      waits();
    }
    values();
    if (r_.gap.policy != rules::Policy::lookahead || irregular()) return;
    const std::size_t preheat = find_preheat();
    const bool let_go = lowered_before(preheat);
    if (preheat == kHeld || !let_go) {
      if (preheat == kHeld) held();
      return;
    }
    lead(preheat);
    treatment(preheat);
    idle(preheat, actual.hot_s);
  }

 private:
  static constexpr std::size_t kHeld = SIZE_MAX;
  struct Past {
    HeaterState course;
    double hot_s;
  };
  struct Need {
    double at_s, temp_c;
  };

  void say(Id id, std::uint64_t line, const std::string& what) {
    found_.add(id, line, printable(r_.head.name) + ": " + what);
  }
  [[nodiscard]] double length() const { return g_.to_s - g_.from_s; }

  // Where the first `count` orders lead to by `until_s`, and how long it was hot before that.
  [[nodiscard]] Past past(double until_s, std::size_t count) const {
    Past p{g_.start, 0};
    double now = g_.from_s;
    for (std::size_t i = 0; i < count && g_.orders[i].at_s <= until_s; ++i) {
      const HeaterCommand& o = g_.orders[i];
      p.hot_s += p.course.advance(std::max(0.0, o.at_s - now), warm_c_).above_s;
      now = std::max(now, o.at_s);
      if (o.target_c) p.course.set_target(*o.target_c);
    }
    p.hot_s += p.course.advance(std::max(0.0, until_s - now), warm_c_).above_s;
    return p;
  }

  void waits() {
    for (const HeaterCommand& o : g_.orders) {
      if (!o.waits || o.cooling || o.waited_s <= 0) continue;
      HeaterState at_once = g_.start;
      at_once.set_target(ready_c_);
      const double target = o.target_c.value_or(g_.work_c);
      if (!o.inserted && std::abs(target - g_.work_c) > kSameC) continue;  // for something else
      const double least = std::max(
          0.0, g_.from_s + at_once.seconds_until_warm(std::min(target, ready_c_)) - o.at_s);
      if (o.waited_s > least + slack_s(least) && uncontended()) {
        say(Id::wait_bound, o.line,
            fmt::format("waits {:.1f} s to reach {:g} C, though no more than {:.1f} s are needed",
                        o.waited_s, target, least));
      }
    }
  }

  void values() {
    // Up to a wait of the job's own for what is still mounted, it is in use.
    std::uint64_t in_use = 0;
    for (const HeaterCommand& o : g_.parting) {
      if (!o.inserted && o.waits && !o.cooling) in_use = o.line;
    }
    values_of(g_.parting, in_use);
    values_of(g_.orders, 0);
  }
  void values_of(const std::vector<HeaterCommand>& orders, std::uint64_t in_use) {
    for (const HeaterCommand& o : orders) {
      if (!o.target_c) continue;
      const double t = *o.target_c;
      const auto is = [t](double c) { return std::abs(t - c) < kSameC; };
      if (o.inserted && t > 0 && !is(g_.work_c) && !is(standby_c_) && !is(g_.standby_c) &&
          !(g_.exchange && (is(g_.out_c) || is(g_.in_c)))) {
        say(Id::invented_target, o.line,
            fmt::format("{:g} C is neither standby ({:g} C) nor what the job prints at ({:g} C)", t,
                        g_.standby_c, g_.work_c));
      }
      if (!o.inserted && !o.waits && o.line > in_use) {
        say(Id::set_in_gap, o.line,
            fmt::format("the job's own target of {:g} C is in force in the gap", t));
      }
    }
  }

  // The job's own waits for something else stay in the gap, and the plan has to make do with them.
  [[nodiscard]] bool irregular() const {
    if (low_c_ <= standby_c_ + kSameC) return true;  // standby tells nothing from working
    return std::any_of(g_.orders.begin(), g_.orders.end(), [this](const HeaterCommand& o) {
      return !o.inserted && (!o.target_c || std::abs(*o.target_c - g_.work_c) > kSameC);
    });
  }

  void needs() {
    for (const HeaterCommand& o : g_.orders) {
      if (o.waits) needs_.push_back({o.at_s, o.target_c.value_or(g_.work_c)});
    }
    if (g_.exchange) needs_.push_back({g_.exchanged_s, guard_c_});
    if (needs_.empty()) needs_.push_back({g_.fed_s, g_.work_c});
  }

  // The order that brings it back: after it, the target is never below what is needed.
  [[nodiscard]] std::size_t find_preheat() const {
    double target = g_.start.target_c();
    std::size_t preheat = kHeld;
    for (std::size_t i = 0; i < g_.orders.size(); ++i) {
      if (!g_.orders[i].target_c) continue;
      const double next = *g_.orders[i].target_c;
      if (target < low_c_ - kSameC && next >= low_c_ - kSameC) preheat = i;
      target = next;
    }
    return preheat;
  }

  // Whether it was let go of, or idle from the start, before that.
  [[nodiscard]] bool lowered_before(std::size_t preheat) const {
    if (preheat == kHeld) return false;
    return g_.orders[preheat].at_s > g_.from_s + 0.05;
  }

  // Seconds that the rules want for getting from `from` at `at_s` to a need.
  [[nodiscard]] double lead_s(const HeaterState& from, double at_s, const Need& need) const {
    return r_.around.lead_s(h_, from, need.temp_c, at_s, need.at_s);
  }
  // Whether a preheat at `at_s` meets every need.
  [[nodiscard]] bool would_do(const HeaterState& there, double at_s, double spare_s) const {
    return std::all_of(needs_.begin(), needs_.end(), [&](const Need& n) {
      return at_s + lead_s(there, at_s, n) + spare_s <= n.at_s;
    });
  }
  // Whether nothing else's power was in its way. Who of several comes first is a matter of them
  // all, so that a preheat is only judged that no other came near.
  [[nodiscard]] bool uncontended() const {
    if (!r_.around.limited()) return true;
    const double lead = thermal::seconds_to_heat(h_, h_.ambient_c, ready_c_);
    constexpr double kNear = 3;
    return r_.around.power_free(r_.index, h_.power_w, needs_.front().at_s - kNear * lead,
                                needs_.front().at_s);
  }

  void lead(std::size_t preheat) {
    const HeaterCommand& order = g_.orders[preheat];
    const HeaterState there = past(order.at_s, preheat).course;
    for (const Need& n : needs_) {
      const double needed = lead_s(there, order.at_s, n);
      const double has = n.at_s - order.at_s;
      if (has < needed - slack_s(needed) && uncontended()) {
        say(Id::preheat_late, order.line,
            fmt::format("{:.1f} s ahead from {:.0f} C; the rules ask for {:.1f} s to reach {:g} C",
                        has, there.temperature_c(), needed, n.temp_c));
        return;
      }
    }
    const double next = r_.lines.line_end(order.at_s + kLineSlackS);
    constexpr double kSpareS = 0.3;
    if (would_do(past(next, preheat).course, next, kSpareS + 0.01 * (needs_.front().at_s - next)) &&
        uncontended()) {
      const double needed = lead_s(there, order.at_s, needs_.front());
      // Others may have gone before those that came near.
      if (r_.around.limited() && needs_.front().at_s - order.at_s < 2 * needed) return;
      say(Id::preheat_early, order.line,
          fmt::format(
              "{:.1f} s ahead from {:.0f} C; the rules ask for {:.1f} s, and a line {:.1f} s "
              "later would still do",
              needs_.front().at_s - order.at_s, there.temperature_c(), needed, next - order.at_s));
    }
  }

  void held() {
    if (let_go_before_wait()) return;
    const double start_c = g_.start.temperature_c();
    double dip_c = start_c;
    for (const Need& n : needs_) {
      // The exchange has time for these.
      if (g_.exchange && n.at_s > g_.exchanged_s && n.temp_c > guard_c_) continue;
      dip_c = std::min(dip_c, thermal::dip_of_gap(h_, start_c, n.temp_c,
                                                  std::min(standby_c_, start_c), n.at_s - g_.from_s)
                                  .dip_c);
    }
    // Held as hot as an exchange needs it, where that leaves time for the rest.
    const double drop = std::min(start_c, g_.exchange ? guard_c_ : ready_c_) - dip_c;
    const double next = r_.lines.line_end(g_.from_s + kLineSlackS);
    HeaterState let_go = g_.start;
    let_go.set_target(standby_c_);
    let_go.advance(next - g_.from_s);
    if (!would_do(let_go, next, slack_s(0))) return;  // too short to let go of
    if (!uncontended()) return;
    // Where costs decide, holding may be the cheaper.
    if (!r_.gap.off_over_best && drop >= r_.gap.hold_drop_c + kHoldSlackC) {
      say(Id::held_long, g_.line,
          fmt::format("held for {:.0f} s, though it could have cooled by {:.1f} C and been back",
                      length(), drop));
    }
    // From the first wait on it is to be hot.
    limit(past(std::min(g_.to_s, needs_.front().at_s), g_.orders.size()).hot_s);
  }

  void limit(double hot_s) {
    if (hot_s <= g_.max_hot_idle_s + slack_s(g_.max_hot_idle_s)) return;
    say(Id::hot_idle_limit, g_.line,
        fmt::format("hot for {:.0f} s while parked, {:.0f} s are allowed", hot_s,
                    g_.max_hot_idle_s));
  }

  void treatment(std::size_t preheat) {
    // Of the targets that it was given; without any, it is as it was before.
    std::optional<double> given;
    std::uint64_t line = g_.line;
    const auto look = [&](const HeaterCommand& o) {
      if (!o.target_c || *o.target_c > given.value_or(*o.target_c)) return;
      if (o.waits && o.cooling) return;  // the job's, before it is put away
      given = *o.target_c;
      line = o.line;
    };
    for (const HeaterCommand& o : g_.parting) look(o);
    for (std::size_t i = 0; i < preheat; ++i) look(g_.orders[i]);
    const double lowest = given.value_or(g_.start.target_c());
    const double slack = slack_s(length());
    const bool off = lowest <= h_.ambient_c;
    const double start_c = g_.start.temperature_c();
    if (r_.gap.off_over_best) {
      dearer(preheat, lowest, line);
      return;
    }
    if (!off && length() > r_.gap.off_over_s + slack && back_from_off()) {
      say(Id::standby_long, line,
          fmt::format("on standby for {:.0f} s; over {:.0f} s it is to be off", length(),
                      r_.gap.off_over_s));
    }
    const bool cools_below =
        past(g_.orders[preheat].at_s, preheat).course.temperature_c() < standby_c_ - 0.5;
    if (off && g_.used_c > h_.ambient_c && cools_below && length() < r_.gap.off_over_s - slack &&
        start_c >= standby_c_ && !hot_too_long()) {
      say(Id::off_short, line, fmt::format("off for a gap of {:.0f} s only", length()));
    }
  }

  // Another heater was waited for at the same select: it was, or would have been, let go of before
  // that, and may then be too cold to be back.
  [[nodiscard]] bool let_go_before_wait() const {
    return std::any_of(g_.parting.begin(), g_.parting.end(), [this](const HeaterCommand& o) {
      return o.inserted && o.at_s < g_.from_s - kLineSlackS;
    });
  }

  // Whether standby, too, would be hot for longer than is allowed, or nearly.
  [[nodiscard]] bool hot_too_long() const {
    const double start_c = std::max(g_.start.temperature_c(), let_go_before_wait() ? g_.used_c : 0);
    if (start_c <= warm_c_) return false;
    const double hot_s = thermal::seconds_to_cool(h_, start_c, warm_c_) +
                         thermal::seconds_to_heat(h_, std::min(warm_c_, ready_c_), ready_c_);
    return hot_s >= g_.max_hot_idle_s - slack_s(hot_s);
  }

  // Whether, shut down at the first chance and told again at the next, it would be back in time.
  [[nodiscard]] bool back_from_off() const {
    if (let_go_before_wait()) return false;
    HeaterState cold = g_.start;
    cold.set_target(0);
    const double next = r_.lines.line_end(g_.from_s + kLineSlackS);
    cold.advance(next - g_.from_s);
    return would_do(cold, next, slack_s(next - g_.from_s)) && uncontended();
  }

  // Where costs decide between standby and off: the other must not have been clearly cheaper.
  void dearer(std::size_t preheat, double floor_c, std::uint64_t line) {
    const bool off = floor_c <= h_.ambient_c;
    if (r_.around.limited() || (g_.start.target_c() <= h_.ambient_c && !off)) return;
    const double need_s = needs_.front().at_s;
    const auto cost = [&](double parked_c, bool chosen) {
      HeaterState course = g_.start;
      course.set_target(parked_c);
      // As late as physics allows, by trial; margins are much the same for both.
      double early = g_.from_s;
      double late = need_s;
      for (int i = 0; i < 40; ++i) {
        const double middle = (early + late) / 2;
        HeaterState there = course;
        there.advance(middle - g_.from_s);
        (middle + lead_s(there, middle, needs_.front()) <= need_s ? early : late) = middle;
      }
      early = std::max(g_.from_s, r_.lines.line_begin(early));
      if (chosen) early = std::max(early, std::min(g_.orders[preheat].at_s, need_s));
      thermal::HeaterUsage spent = course.advance(early - g_.from_s, warm_c_);
      course.set_target(ready_c_);
      spent.add(course.advance(need_s - early, warm_c_));
      return spent.above_s / 3600 * r_.gap.hot_idle_cost_per_h +
             spent.energy_j / 3.6e6 * r_.gap.energy_cost_per_kwh +
             (parked_c <= 0 ? r_.gap.restart_cost : 0);
    };
    if (!back_from_off() || preheat == kHeld) return;
    const double of_off = cost(0, off);
    // It may be parked cooler than on standby, where start code has left it so.
    const double of_standby = cost(off ? standby_c_ : std::min(floor_c, standby_c_), !off);
    const double slack = 0.03 * std::max(of_off, of_standby);
    if (off && of_off > of_standby + slack && g_.start.temperature_c() > warm_c_ &&
        !hot_too_long()) {
      say(Id::off_short, line,
          fmt::format("off costs {:.2g} here, standby {:.2g}", of_off, of_standby));
    } else if (!off && of_standby > of_off + slack) {
      say(Id::standby_long, line,
          fmt::format("standby costs {:.2g} here, off {:.2g}", of_standby, of_off));
    }
  }

  // Let go of at the start and brought back where it was: no longer than that.
  void idle(std::size_t preheat, double hot_s) {
    // Where it was colder before, it may be brought up to standby first.
    std::optional<double> lowest;
    for (std::size_t i = 0; i < preheat; ++i) {
      const auto& target = g_.orders[i].target_c;
      if (target) lowest = std::min(lowest.value_or(*target), *target);
    }
    const double floor_c = lowest.value_or(g_.start.target_c());
    HeaterState best = g_.start;
    best.set_target(floor_c);
    const double back_s = std::min(g_.orders[preheat].at_s, g_.to_s);
    double least = best.advance(std::max(0.0, back_s - g_.from_s), warm_c_).above_s;
    best.set_target(ready_c_);
    least += best.advance(std::max(0.0, g_.to_s - back_s), warm_c_).above_s;
    if (hot_s > least + slack_s(0)) {
      say(Id::hot_idle_bound, g_.line,
          fmt::format("hot for {:.1f} s while parked; let go of at once, {:.1f} s would do", hot_s,
                      least));
      limit(hot_s);
    }
  }

  const ObservedGap& g_;
  const GapRules& r_;
  const thermal::Hotend& h_;
  Findings& found_;
  double guard_c_, ready_c_, low_c_, standby_c_, warm_c_;
  std::vector<Need> needs_;
};

}  // namespace

void judge(const ObservedGap& gap, const GapRules& rules, Findings& findings) {
  Judge(gap, rules, findings).run();
}

void judge_mounted(const ObservedGap& gap, const GapRules& rules, Findings& findings) {
  // What the job itself sets in between is its own affair.
  const bool own = std::any_of(gap.orders.begin(), gap.orders.end(), [](const HeaterCommand& o) {
    return !o.inserted && (!o.waits || o.cooling);
  });
  for (const HeaterCommand& o : gap.parting) {
    if (o.inserted || o.waits || !o.target_c) continue;
    if (*o.target_c >= std::max(gap.out_c, gap.work_c) - kSameC) continue;
    findings.add(Id::set_in_gap, o.line,
                 fmt::format("{}: the job's own target of {:g} C is in force before the exchange",
                             printable(rules.head.name), *o.target_c));
  }
  for (const HeaterCommand& o : gap.orders) {
    if (own || !o.waits || o.cooling || o.waited_s <= 0) continue;
    HeaterState at_once = gap.start;
    const double target = o.target_c.value_or(gap.work_c);
    if (!o.inserted && std::abs(target - gap.work_c) > kSameC) continue;  // for something else
    at_once.set_target(std::max(target, gap.out_c));
    const double least = std::max(0.0, gap.from_s + at_once.seconds_until_warm(target) - o.at_s);
    if (o.waited_s > least + slack_s(least)) {
      findings.add(
          Id::wait_bound, o.line,
          fmt::format("{}: waits {:.1f} s to reach {:g} C, though no more than {:.1f} s are "
                      "needed",
                      printable(rules.head.name), o.waited_s, target, least));
    }
  }
}

void judge_last(const ObservedGap& gap, const GapRules& rules, bool ever_fed, Findings& findings) {
  const std::string name = printable(rules.head.name);
  const double warm_c = gap.standby_c + kHotAboveStandbyC;
  HeaterState course = gap.start;
  HeaterState at_once = gap.start;
  double now = gap.from_s;
  double hot_s = 0;
  std::uint64_t off_line = 0;
  const auto needless = [&](const HeaterCommand& o) {
    findings.add(Id::needless_heat, o.line,
                 fmt::format("{}: {:g} C, though {}", name, *o.target_c,
                             ever_fed ? "it is not used again" : "it is never used"));
  };
  // The job may wait for it, while it is mounted, or until it has cooled down.
  const auto own_wait = [&gap](const HeaterCommand& o) {
    if (o.inserted || !o.waits) return false;
    return gap.still_mounted || (o.cooling && *o.target_c < gap.highest_c);
  };
  for (const HeaterCommand& o : gap.parting) {
    const bool waits = !o.inserted && o.waits;
    if (o.target_c && *o.target_c > 0 && o.line > gap.fed_line && !waits) needless(o);
  }
  double least = 0;  // shut down at once, all else as it is
  at_once.set_target(0);
  for (const HeaterCommand& o : gap.orders) {
    const double passed_s = std::max(0.0, o.at_s - now);
    hot_s += course.advance(passed_s, warm_c).above_s;
    least += at_once.advance(passed_s, warm_c).above_s;
    now = std::max(now, o.at_s);
    if (!o.target_c) continue;
    course.set_target(*o.target_c);
    if (*o.target_c <= 0 || own_wait(o)) at_once.set_target(*o.target_c);
    if (*o.target_c > 0) {
      if (!own_wait(o)) needless(o);
    } else if (off_line == 0) {
      off_line = o.line;
    }
  }
  if (course.target_c() > 0) {
    findings.add(Id::left_on, 0,
                 fmt::format("{}: still on at {:g} C when the job ends", name, course.target_c()));
    return;
  }
  hot_s += course.advance(std::max(0.0, gap.to_s - now), warm_c).above_s;
  least += at_once.advance(std::max(0.0, gap.to_s - now), warm_c).above_s;
  if (hot_s > least + slack_s(0) && rules.gap.policy != rules::Policy::as_sliced) {
    findings.add(
        Id::off_late, off_line,
        fmt::format("{}: hot for {:.1f} s after its last use; shut down at once it would be "
                    "{:.1f} s",
                    name, hot_s, least));
  }
}

}  // namespace forewarm::check
