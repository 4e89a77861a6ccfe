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

ObservedGap behind_pause(const ObservedGap& gap) {
  ObservedGap out = gap;
  const auto behind =
      out.commands.begin() + std::ptrdiff_t(std::min(gap.pause->commands, out.commands.size()));
  out.before_pause.assign(out.commands.begin(), behind);
  out.commands.erase(out.commands.begin(), behind);
  out.start = gap.pause->after;
  out.from_s = gap.pause->at_s;
  return out;
}

namespace {

using thermal::HeaterState;

constexpr double kHoldSlackC = 0.7;
// The clock of a plan does not see the stops that its own waits make, some tenths of a second each.
double slack_s(double length_s) { return 1.5 + 0.01 * length_s; }
// Commands stand between lines, and lines up to LongLines::kLongS are taken together.
constexpr double kLineSlackS = 2.5;

// Seconds until that wait for `target_c` would be over.
double until_over(const HeaterState& heater, const HeaterCommand& wait, double target_c,
                  const GapRules& rules) {
  return wait.for_least ? heater.seconds_until_at(target_c - rules.wait_window_c)
                        : heater.seconds_until_warm(target_c);
}

class GapJudge {
 public:
  GapJudge(const ObservedGap& gap, const GapRules& rules, Findings& findings)
      : gap_(gap), rules_(rules), hotend_(rules.head.hotend), found_(findings) {
    guard_c_ = std::max(gap_.out_c, gap_.in_c);
    ready_c_ = gap_.exchange ? std::max(guard_c_, gap_.work_c) : gap_.work_c;
    low_c_ = gap_.exchange ? std::min(gap_.out_c, gap_.work_c) : gap_.work_c;
    standby_c_ = std::min(gap_.standby_c, ready_c_);
    warm_c_ = standby_c_ + kHotAboveStandbyC;
  }

  void run() {
    const Past actual = past(gap_.to_s, gap_.commands.size());
    needs();
    if (rules_.gap.policy != rules::Policy::timers &&
        rules_.gap.policy != rules::Policy::as_sliced && !irregular()) {
      waits();
    }
    values();
    if (rules_.gap.policy != rules::Policy::lookahead || irregular()) return;
    const std::size_t preheat = find_preheat();
    const bool lowered = lowered_before(preheat);
    if (preheat == kHeld || !lowered) {
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
    HeaterState heater;
    double hot_s;
  };
  struct Need {
    double at_s, temp_c;
    bool settled = true;  // by then; not where only a minimum is waited for
  };

  void say(Id id, std::uint64_t line, const std::string& what) {
    found_.add(id, line, printable(rules_.head.name) + ": " + what);
  }
  [[nodiscard]] double length() const { return gap_.to_s - gap_.from_s; }

  // Where the first `count` commands lead to by `until_s`, and how long it was hot before that.
  [[nodiscard]] Past past(double until_s, std::size_t count) const {
    Past p{gap_.start, 0};
    double now = gap_.from_s;
    for (std::size_t i = 0; i < count && gap_.commands[i].at_s <= until_s; ++i) {
      const HeaterCommand& o = gap_.commands[i];
      p.hot_s += p.heater.advance(std::max(0.0, o.at_s - now), warm_c_).above_s;
      now = std::max(now, o.at_s);
      if (o.target_c) p.heater.set_target(*o.target_c);
    }
    p.hot_s += p.heater.advance(std::max(0.0, until_s - now), warm_c_).above_s;
    return p;
  }

  void waits() {
    for (const HeaterCommand& o : gap_.commands) {
      if (!o.waits || o.cooling || o.waited_s <= 0) continue;
      HeaterState at_once = gap_.start;
      const double target = o.target_c.value_or(gap_.work_c);
      at_once.set_target(std::min(target, ready_c_));
      if (!o.inserted && std::abs(target - gap_.work_c) > kRoundingC)
        continue;  // for something else
      const double least = std::max(
          0.0, gap_.from_s + until_over(at_once, o, std::min(target, ready_c_), rules_) - o.at_s);
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
    for (const HeaterCommand& o : gap_.parting) {
      if (!o.inserted && o.waits && !o.cooling) in_use = o.line;
    }
    values_of(gap_.parting, in_use);
    values_of(gap_.before_pause, 0);
    values_of(gap_.commands, 0);
  }
  void values_of(const std::vector<HeaterCommand>& commands, std::uint64_t in_use) {
    for (const HeaterCommand& o : commands) {
      if (!o.target_c) continue;
      const double t = *o.target_c;
      const auto is = [t](double c) { return std::abs(t - c) < kRoundingC; };
      if (o.inserted && t > 0 && !is(gap_.work_c) && !is(standby_c_) && !is(gap_.standby_c) &&
          !(gap_.exchange && (is(gap_.out_c) || is(gap_.in_c)))) {
        say(Id::invented_target, o.line,
            fmt::format("{:g} C is neither standby ({:g} C) nor what the job prints at ({:g} C)", t,
                        gap_.standby_c, gap_.work_c));
      }
      if (!o.inserted && !o.waits && o.line > in_use) {
        say(Id::set_in_gap, o.line,
            fmt::format("the job's own target of {:g} C is in force in the gap", t));
      }
    }
  }

  // The job's own waits for something else stay in the gap, and the plan has to make do with them.
  [[nodiscard]] bool irregular() const {
    if (low_c_ <= standby_c_ + kRoundingC) return true;  // standby tells nothing from working
    return std::any_of(gap_.commands.begin(), gap_.commands.end(), [this](const HeaterCommand& o) {
      return !o.inserted && (!o.target_c || std::abs(*o.target_c - gap_.work_c) > kRoundingC);
    });
  }

  void needs() {
    for (const HeaterCommand& o : gap_.commands) {
      if (o.waits) needs_.push_back({o.at_s, o.target_c.value_or(gap_.work_c), !o.for_least});
    }
    if (gap_.exchange) needs_.push_back({gap_.exchanged_s, guard_c_, false});
    if (needs_.empty()) needs_.push_back({gap_.fed_s, gap_.work_c});
  }

  // The command that brings it back: after it, the target is never below what is needed.
  [[nodiscard]] std::size_t find_preheat() const {
    double target = gap_.start.target_c();
    std::size_t preheat = kHeld;
    for (std::size_t i = 0; i < gap_.commands.size(); ++i) {
      if (!gap_.commands[i].target_c) continue;
      const double next = *gap_.commands[i].target_c;
      if (target < low_c_ - kRoundingC && next >= low_c_ - kRoundingC) preheat = i;
      target = next;
    }
    return preheat;
  }

  // Whether its target was lowered, or it was idle from the start, before that.
  [[nodiscard]] bool lowered_before(std::size_t preheat) const {
    if (preheat == kHeld) return false;
    return gap_.commands[preheat].at_s > gap_.from_s + 0.05;
  }

  // Seconds that the rules want for getting from `from` at `at_s` to a need.
  [[nodiscard]] double lead_s(const HeaterState& from, double at_s, const Need& need) const {
    return rules_.around.lead_s(hotend_, from, need.temp_c, at_s, need.at_s, need.settled);
  }
  // Whether a preheat at `at_s` meets every need.
  [[nodiscard]] bool would_do(const HeaterState& there, double at_s, double spare_s) const {
    return std::all_of(needs_.begin(), needs_.end(), [&](const Need& n) {
      return at_s + lead_s(there, at_s, n) + spare_s <= n.at_s;
    });
  }
  // Whether nothing else's power was in its way. Who of several comes first is a matter of them
  // all, so that a preheat is only judged that no other came near, in the time that it needs or
  // where the line stands before which it would.
  [[nodiscard]] bool uncontended(double needed_s = 0) const {
    if (!rules_.around.limited()) return true;
    const double need_s = needs_.front().at_s;
    const double drive_s = thermal::seconds_to_heat(hotend_, hotend_.ambient_c, ready_c_);
    const HeaterState cold(hotend_, hotend_.ambient_c);
    needed_s =
        std::max(needed_s, rules_.around.lead_s(hotend_, cold, ready_c_, need_s - drive_s, need_s));
    constexpr double kNear = 3;
    constexpr double kNearNeeded = 1.5;
    const double from_s = std::min({need_s - kNear * drive_s, need_s - kNearNeeded * needed_s,
                                    rules_.lines.line_begin(need_s - needed_s)});
    return rules_.around.power_free(rules_.index, hotend_.power_w, from_s, need_s);
  }

  void lead(std::size_t preheat) {
    const HeaterCommand& command = gap_.commands[preheat];
    const HeaterState there = past(command.at_s, preheat).heater;
    for (const Need& n : needs_) {
      const double needed = lead_s(there, command.at_s, n);
      const double has = n.at_s - command.at_s;
      if (has < needed - slack_s(needed) && uncontended(needed)) {
        say(Id::preheat_late, command.line,
            fmt::format("{:.1f} s ahead from {:.0f} C; the rules ask for {:.1f} s to reach {:g} C",
                        has, there.temperature_c(), needed, n.temp_c));
        return;
      }
    }
    const double next = rules_.lines.line_end(command.at_s + kLineSlackS);
    constexpr double kSpareS = 0.3;
    if (would_do(past(next, preheat).heater, next, kSpareS + 0.01 * (needs_.front().at_s - next))) {
      const double needed = lead_s(there, command.at_s, needs_.front());
      if (!uncontended(needed)) return;
      // Others may have gone before those that came near.
      if (rules_.around.limited() && needs_.front().at_s - command.at_s < 2 * needed) return;
      say(Id::preheat_early, command.line,
          fmt::format(
              "{:.1f} s ahead from {:.0f} C; the rules ask for {:.1f} s, and a line {:.1f} s "
              "later would still do",
              needs_.front().at_s - command.at_s, there.temperature_c(), needed,
              next - command.at_s));
    }
  }

  void held() {
    if (lowered_before_wait()) return;
    const double start_c = gap_.start.temperature_c();
    double dip_c = start_c;
    for (const Need& n : needs_) {
      // The exchange has time for these.
      if (gap_.exchange && n.at_s > gap_.exchanged_s && n.temp_c > guard_c_) continue;
      dip_c =
          std::min(dip_c, thermal::dip_of_gap(hotend_, start_c, n.temp_c,
                                              std::min(standby_c_, start_c), n.at_s - gap_.from_s)
                              .dip_c);
    }
    // Held as hot as an exchange needs it, where that leaves time for the rest.
    const double drop = std::min(start_c, gap_.exchange ? guard_c_ : ready_c_) - dip_c;
    const double next = rules_.lines.line_end(gap_.from_s + kLineSlackS);
    HeaterState lowered = gap_.start;
    lowered.set_target(standby_c_);
    lowered.advance(next - gap_.from_s);
    if (!would_do(lowered, next, slack_s(0))) return;  // too short to cool
    if (!uncontended()) return;
    // Where costs decide, holding may be the cheaper.
    if (!rules_.gap.off_over_best && drop >= rules_.gap.hold_drop_c + kHoldSlackC) {
      say(Id::held_long, gap_.line,
          fmt::format("held for {:.0f} s, though it could have cooled by {:.1f} C and been back",
                      length(), drop));
    }
    // From the first wait on it is to be hot.
    limit(past(std::min(gap_.to_s, needs_.front().at_s), gap_.commands.size()).hot_s);
  }

  void limit(double hot_s) {
    if (hot_s <= gap_.max_hot_idle_s + slack_s(gap_.max_hot_idle_s)) return;
    say(Id::hot_idle_limit, gap_.line,
        fmt::format("hot for {:.0f} s while parked, {:.0f} s are allowed", hot_s,
                    gap_.max_hot_idle_s));
  }

  void treatment(std::size_t preheat) {
    // Of the targets that it was given; without any, it is as it was before.
    std::optional<double> given;
    std::uint64_t line = gap_.line;
    const auto look = [&](const HeaterCommand& o) {
      if (!o.target_c || *o.target_c > given.value_or(*o.target_c)) return;
      if (o.waits && o.cooling) return;  // the job's, before it is put away
      given = *o.target_c;
      line = o.line;
    };
    for (const HeaterCommand& o : gap_.parting) look(o);
    for (std::size_t i = 0; i < preheat; ++i) look(gap_.commands[i]);
    const double lowest = given.value_or(gap_.start.target_c());
    const double slack = slack_s(length());
    const bool off = lowest <= hotend_.ambient_c;
    const double start_c = gap_.start.temperature_c();
    if (rules_.gap.off_over_best) {
      dearer(preheat, lowest, line);
      return;
    }
    // With a heating limit, what would hardly dip stays at its target instead of being driven up.
    const bool stays = rules_.around.limited() && !given &&
                       start_c - standby_c_ < rules_.gap.hold_drop_c + kHoldSlackC;
    if (!off && !stays && length() > rules_.gap.off_over_s + slack && back_from_off()) {
      say(Id::standby_long, line,
          fmt::format("on standby for {:.0f} s; over {:.0f} s it is to be off", length(),
                      rules_.gap.off_over_s));
    }
    const bool cools_below =
        past(gap_.commands[preheat].at_s, preheat).heater.temperature_c() < standby_c_ - 0.5;
    if (off && gap_.used_c > hotend_.ambient_c && cools_below &&
        length() < rules_.gap.off_over_s - slack && start_c >= standby_c_ && !hot_too_long()) {
      say(Id::off_short, line, fmt::format("off for a gap of {:.0f} s only", length()));
    }
  }

  // Another heater was waited for at the same select: the target was, or would have been, lowered
  // before that, and the heater may then be too cold to be back.
  [[nodiscard]] bool lowered_before_wait() const {
    return std::any_of(gap_.parting.begin(), gap_.parting.end(), [this](const HeaterCommand& o) {
      return o.inserted && o.at_s < gap_.from_s - kLineSlackS;
    });
  }

  // Whether standby, too, would be hot for longer than is allowed, or nearly.
  [[nodiscard]] bool hot_too_long() const {
    const double start_c =
        std::max(gap_.start.temperature_c(), lowered_before_wait() ? gap_.used_c : 0);
    if (start_c <= warm_c_) return false;
    const double hot_s = thermal::seconds_to_cool(hotend_, start_c, warm_c_) +
                         thermal::seconds_to_heat(hotend_, std::min(warm_c_, ready_c_), ready_c_);
    return hot_s >= gap_.max_hot_idle_s - slack_s(hot_s);
  }

  // Whether, switched off at the first chance and heated again at the next, it would be back in
  // time.
  [[nodiscard]] bool back_from_off() const {
    if (lowered_before_wait()) return false;
    HeaterState cold = gap_.start;
    cold.set_target(0);
    const double next = rules_.lines.line_end(gap_.from_s + kLineSlackS);
    cold.advance(next - gap_.from_s);
    return would_do(cold, next, slack_s(next - gap_.from_s)) && uncontended();
  }

  // Where costs decide between standby and off: the other must not have been clearly cheaper.
  void dearer(std::size_t preheat, double floor_c, std::uint64_t line) {
    const bool off = floor_c <= hotend_.ambient_c;
    if (rules_.around.limited() || (gap_.start.target_c() <= hotend_.ambient_c && !off)) return;
    const double need_s = needs_.front().at_s;
    const auto cost = [&](double parked_c, bool chosen) {
      HeaterState heater = gap_.start;
      heater.set_target(parked_c);
      // As late as physics allows, by trial; margins are much the same for both.
      double early = gap_.from_s;
      double late = need_s;
      for (int i = 0; i < 40; ++i) {
        const double middle = (early + late) / 2;
        HeaterState there = heater;
        there.advance(middle - gap_.from_s);
        (middle + lead_s(there, middle, needs_.front()) <= need_s ? early : late) = middle;
      }
      early = std::max(gap_.from_s, rules_.lines.line_begin(early));
      if (chosen) early = std::max(early, std::min(gap_.commands[preheat].at_s, need_s));
      thermal::HeaterUsage spent = heater.advance(early - gap_.from_s, warm_c_);
      heater.set_target(ready_c_);
      spent.add(heater.advance(need_s - early, warm_c_));
      return spent.above_s / 3600 * rules_.gap.hot_idle_cost_per_h +
             spent.energy_j / 3.6e6 * rules_.gap.energy_cost_per_kwh +
             (parked_c <= 0 ? rules_.gap.restart_cost : 0);
    };
    if (!back_from_off() || preheat == kHeld) return;
    const double of_off = cost(0, off);
    // It may be parked cooler than on standby, where start code has left it so.
    const double of_standby = cost(off ? standby_c_ : std::min(floor_c, standby_c_), !off);
    const double slack = 0.03 * std::max(of_off, of_standby);
    if (off && of_off > of_standby + slack && gap_.start.temperature_c() > warm_c_ &&
        !hot_too_long()) {
      say(Id::off_short, line,
          fmt::format("off costs {:.2g} here, standby {:.2g}", of_off, of_standby));
    } else if (!off && of_standby > of_off + slack) {
      say(Id::standby_long, line,
          fmt::format("standby costs {:.2g} here, off {:.2g}", of_standby, of_off));
    }
  }

  // Cooling starts at the beginning of the gap, heating where it did: it is hot no longer than
  // that.
  void idle(std::size_t preheat, double hot_s) {
    // Where it was colder before, it may be brought up to standby first.
    std::optional<double> lowest;
    for (std::size_t i = 0; i < preheat; ++i) {
      const auto& target = gap_.commands[i].target_c;
      if (target) lowest = std::min(lowest.value_or(*target), *target);
    }
    const double floor_c = lowest.value_or(gap_.start.target_c());
    HeaterState best = gap_.start;
    best.set_target(floor_c);
    const double back_s = std::min(gap_.commands[preheat].at_s, gap_.to_s);
    double least = best.advance(std::max(0.0, back_s - gap_.from_s), warm_c_).above_s;
    best.set_target(ready_c_);
    least += best.advance(std::max(0.0, gap_.to_s - back_s), warm_c_).above_s;
    if (hot_s > least + slack_s(0)) {
      say(Id::hot_idle_bound, gap_.line,
          fmt::format("hot for {:.1f} s while parked; off or on standby at once, {:.1f} s would do",
                      hot_s, least));
      limit(hot_s);
    }
  }

  const ObservedGap& gap_;
  const GapRules& rules_;
  const thermal::Hotend& hotend_;
  Findings& found_;
  double guard_c_, ready_c_, low_c_, standby_c_, warm_c_;
  std::vector<Need> needs_;
};

}  // namespace

double hot_while_parked_s(const ObservedGap& gap) {
  const double ready_c = gap.exchange ? std::max({gap.out_c, gap.in_c, gap.work_c}) : gap.work_c;
  const double warm_c = std::min(gap.standby_c, ready_c) + kHotAboveStandbyC;
  HeaterState heater = gap.start;
  double now = gap.from_s;
  double hot_s = 0;
  const auto advance = [&](double to_s) {
    hot_s += heater.advance(std::max(0.0, to_s - now), warm_c).above_s;
    now = std::max(now, to_s);
  };
  for (std::size_t i = 0; i <= gap.commands.size(); ++i) {
    if (gap.pause && i == gap.pause->commands && gap.pause->at_s <= gap.to_s) {
      // It takes no time here, but the heater is as cold then as it may be.
      advance(gap.pause->at_s);
      heater = gap.pause->after;
    }
    if (i == gap.commands.size() || gap.commands[i].at_s > gap.to_s) break;
    advance(gap.commands[i].at_s);
    if (gap.commands[i].target_c) heater.set_target(*gap.commands[i].target_c);
  }
  advance(gap.to_s);
  return hot_s;
}

void judge(const ObservedGap& gap, const GapRules& rules, Findings& findings) {
  GapJudge(gap, rules, findings).run();
}

void judge_mounted(const ObservedGap& gap, const GapRules& rules, Findings& findings) {
  // What the job itself sets in between is its own affair.
  const bool own =
      std::any_of(gap.commands.begin(), gap.commands.end(),
                  [](const HeaterCommand& o) { return !o.inserted && (!o.waits || o.cooling); });
  for (const HeaterCommand& o : gap.parting) {
    if (o.inserted || o.waits || !o.target_c) continue;
    if (*o.target_c >= std::max(gap.out_c, gap.work_c) - kRoundingC) continue;
    findings.add(Id::set_in_gap, o.line,
                 fmt::format("{}: the job's own target of {:g} C is in force before the exchange",
                             printable(rules.head.name), *o.target_c));
  }
  for (const HeaterCommand& o : gap.commands) {
    if (own || !o.waits || o.cooling || o.waited_s <= 0) continue;
    HeaterState at_once = gap.start;
    const double target = o.target_c.value_or(gap.work_c);
    if (!o.inserted && std::abs(target - gap.work_c) > kRoundingC) continue;  // for something else
    at_once.set_target(target);
    const double least = std::max(0.0, gap.from_s + until_over(at_once, o, target, rules) - o.at_s);
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
  HeaterState heater = gap.start;
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
  for (const HeaterCommand& o : gap.commands) {
    const double passed_s = std::max(0.0, o.at_s - now);
    hot_s += heater.advance(passed_s, warm_c).above_s;
    least += at_once.advance(passed_s, warm_c).above_s;
    now = std::max(now, o.at_s);
    if (!o.target_c) continue;
    heater.set_target(*o.target_c);
    if (*o.target_c <= 0 || own_wait(o)) at_once.set_target(*o.target_c);
    if (*o.target_c > 0) {
      if (!own_wait(o)) needless(o);
    } else if (off_line == 0) {
      off_line = o.line;
    }
  }
  if (heater.target_c() > 0) {
    findings.add(Id::left_on, 0,
                 fmt::format("{}: still on at {:g} C when the job ends", name, heater.target_c()));
    return;
  }
  hot_s += heater.advance(std::max(0.0, gap.to_s - now), warm_c).above_s;
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
