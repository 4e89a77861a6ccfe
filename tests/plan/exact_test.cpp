// One gap against every way of treating it, replayed by a stepper of the test's own: lines wherever
// one likes, none may be less late, or as late and cheaper; lines on a grid, none may gain more
// than one line costs.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "plan/decide_gap.h"
#include "plan/gap_cost.h"

using namespace forewarm;
using plan::GapContext;

namespace {

struct Costs {
  double per_hot_s, per_j, per_restart;
};

// A heater followed from moment to moment in closed form, apart from thermal/hotend.h's
// HeaterState.
struct Stepper {
  thermal::Hotend h;
  double t_c, target_c, dead_s = 0;
  bool held_before = false;
  double hot_s = 0, joules = 0;
  int restarts = 0;

  [[nodiscard]] bool driving() const { return target_c > h.ambient_c && t_c < target_c - 1e-9; }
  void command(double to_c) {
    const bool was_driving = driving();
    const bool was_held = target_c > h.ambient_c && std::abs(t_c - target_c) <= 1e-9;
    if (target_c <= h.ambient_c && to_c > h.ambient_c) ++restarts;
    target_c = to_c;
    if (driving() && !was_driving) {
      dead_s = h.dead_time_s;
      held_before = was_held;
    }
    if (!driving()) dead_s = 0;
  }
  void exponential(double toward_c, double seconds, double warm_c, double watts) {
    const double end = toward_c + (t_c - toward_c) * std::exp(-seconds / h.time_constant_s);
    const auto when = [&](double level) {
      return h.time_constant_s * std::log((t_c - toward_c) / (level - toward_c));
    };
    if (t_c > warm_c && end > warm_c) hot_s += seconds;
    if (t_c > warm_c && end <= warm_c) hot_s += when(warm_c);
    if (t_c <= warm_c && end > warm_c) hot_s += seconds - when(warm_c);
    joules += watts * seconds;
    t_c = end;
  }
  void still(double seconds, double warm_c) {
    if (t_c > warm_c) hot_s += seconds;
    joules += h.power_w * (t_c - h.ambient_c) / (h.full_drive_c - h.ambient_c) * seconds;
  }
  void run(double seconds, double warm_c) {
    while (seconds > 1e-12) {
      if (driving()) {
        if (dead_s > 0) {
          const double s = std::min(seconds, dead_s);
          if (held_before) {
            if (t_c > warm_c) hot_s += s;
            joules += h.power_w * s;
          } else {
            exponential(h.ambient_c, s, warm_c, h.power_w);
          }
          dead_s -= s;
          seconds -= s;
          continue;
        }
        const double there =
            h.time_constant_s * std::log((h.full_drive_c - t_c) / (h.full_drive_c - target_c));
        const double s = std::min(seconds, there);
        exponential(h.full_drive_c, s, warm_c, h.power_w);
        if (s == there) t_c = target_c;
        seconds -= s;
      } else if (target_c > h.ambient_c && t_c > target_c + 1e-9) {
        const double there =
            h.time_constant_s * std::log((t_c - h.ambient_c) / (target_c - h.ambient_c));
        const double s = std::min(seconds, there);
        exponential(h.ambient_c, s, warm_c, 0);
        if (s == there) t_c = target_c;
        seconds -= s;
      } else if (target_c > h.ambient_c) {
        still(seconds, warm_c);
        return;
      } else {
        exponential(h.ambient_c, seconds, warm_c, 0);
        return;
      }
    }
  }
};

struct Score {
  double late_s = std::numeric_limits<double>::infinity(), cost = 0;
  [[nodiscard]] bool better_than(const Score& o) const {
    if (late_s < o.late_s - 1e-6) return true;
    return late_s < o.late_s + 1e-6 && cost < o.cost - 1e-9 - 1e-9 * o.cost;
  }
};

struct Problem {
  GapContext q;
  Costs costs{};
  int steps = 12;
  double step_s = 1;
  [[nodiscard]] double warm_c() const { return std::min(q.standby_c, q.ready_c) + 5; }
  [[nodiscard]] Stepper begin() const {
    Stepper s{q.hotend, q.start_c, q.start_target_c};
    return s;
  }
  [[nodiscard]] Score score(Stepper s) const {
    Score out;
    out.cost = s.hot_s * costs.per_hot_s + s.joules * costs.per_j + s.restarts * costs.per_restart;
    out.late_s = 0;
    if (s.t_c < q.ready_c - 1e-6) {
      s.command(q.ready_c);
      out.late_s = s.dead_s + s.h.time_constant_s * std::log((s.h.full_drive_c - s.t_c) /
                                                             (s.h.full_drive_c - q.ready_c));
    }
    return out;
  }
};

// Told to come back at the best of all moments from now on, if nothing else is said any more.
Score come_back(const Problem& p, const Stepper& now, double left_s) {
  const auto told_after = [&](double seconds) {
    Stepper s = now;
    s.run(seconds, p.warm_c());
    if (s.target_c != p.q.ready_c) s.command(p.q.ready_c);
    s.run(left_s - seconds, p.warm_c());
    return p.score(s);
  };
  Score at_once = told_after(0);
  if (at_once.late_s > 1e-9) return at_once;
  double early = 0;
  double late = left_s;
  for (int i = 0; i < 36; ++i) {
    const double middle = (early + late) / 2;
    (told_after(middle).late_s <= 1e-9 ? early : late) = middle;
  }
  const Score last = told_after(early);
  return last.better_than(at_once) ? last : at_once;
}

// Let go of at any moments of the grid, to standby or off, and brought back whenever is best.
void search_let_go(const Problem& p, const Stepper& now, int step, int left, Score& best) {
  if (step == p.steps) return;
  const Score s = come_back(p, now, (p.steps - step) * p.step_s);
  if (s.better_than(best)) best = s;
  const auto go_on = [&](Stepper next, int commands) {
    next.run(p.step_s, p.warm_c());
    search_let_go(p, next, step + 1, commands, best);
  };
  go_on(now, left);
  if (left == 0) return;
  for (const double target : {0.0, p.q.standby_c, p.q.ready_c}) {
    if (target == now.target_c) continue;
    Stepper next = now;
    next.command(target);
    go_on(next, left - 1);
  }
}

// Every sequence of commands at moments of the grid from here on.
void search(const Problem& p, const Stepper& now, int step, int left, Score& best) {
  if (step == p.steps) {
    // It is to print at this target.
    if (now.target_c != p.q.ready_c) return;
    const Score s = p.score(now);
    if (s.better_than(best)) best = s;
    return;
  }
  const auto go_on = [&](Stepper s, int commands) {
    s.run(p.step_s, p.warm_c());
    search(p, s, step + 1, commands, best);
  };
  go_on(now, left);
  if (left == 0) return;
  for (const double target : {0.0, p.q.standby_c, p.q.ready_c}) {
    if (target == now.target_c) continue;
    Stepper s = now;
    s.command(target);
    go_on(s, left - 1);
  }
}

Score score_of(const Problem& p, const plan::GapDecision& answer) {
  Stepper s = p.begin();
  double now = 0;
  for (const plan::GapAction& a : answer.actions) {
    s.run(a.after_s - now, p.warm_c());
    now = a.after_s;
    s.command(a.target_c);
  }
  s.run(p.steps * p.step_s - now, p.warm_c());
  return p.score(s);
}

// Costs decide alone: no margins, nothing held for being small.
rules::GapSettings costs_alone(const Costs& c) {
  rules::GapSettings gap;
  gap.off_over_best = true;
  gap.hold_drop_c = 0;
  gap.on_time = 0.5;
  gap.hot_idle_cost_per_h = c.per_hot_s * 3600;
  gap.energy_cost_per_kwh = c.per_j * 3.6e6;
  gap.restart_cost = c.per_restart;
  return gap;
}

Problem random_problem(std::mt19937& random) {
  std::uniform_real_distribution<double> unit(0, 1);
  Problem p;
  p.q.hotend = {20 + 60 * unit(random), 350 + 150 * unit(random), 20 + 200 * unit(random),
                unit(random) < 0.5 ? 0 : 4 * unit(random), 23};
  p.q.ready_c = 200 + 50 * unit(random);
  p.q.start_c = p.q.start_target_c = p.q.ready_c;
  if (unit(random) < 0.3) p.q.start_c = p.q.start_target_c = 200 + 50 * unit(random);
  p.q.standby_c = 120 + 90 * unit(random);
  if (unit(random) < 0.15) {
    p.q.start_c = 23;  // before its first use
    p.q.start_target_c = 0;
  }
  p.q.max_hot_idle_s = 1e9;
  p.step_s = std::exp(std::log(0.5) + std::log(200.0) * unit(random));
  p.q.deadlines = {{p.steps * p.step_s, p.q.ready_c}};
  p.q.line_at = [step = p.step_s](double t) { return std::floor(t / step + 1e-9) * step; };
  p.costs = {unit(random) < 0.3 ? 0 : 1e-5 * unit(random), 1e-7 * unit(random),
             unit(random) < 0.3 ? 0 : 0.002 * unit(random)};
  return p;
}

std::string shown(const Problem& p) {
  const thermal::Hotend& h = p.q.hotend;
  return fmt::format(
      "{} steps of {:.3f} s, {:.0f} W {:.0f} C {:.0f} s dead {:.1f}, from {:.1f} (target {:.1f}) "
      "by standby {:.1f} to {:.1f}; costs {} {} {}",
      p.steps, p.step_s, h.power_w, h.full_drive_c, h.time_constant_s, h.dead_time_s, p.q.start_c,
      p.q.start_target_c, p.q.standby_c, p.q.ready_c, p.costs.per_hot_s, p.costs.per_j,
      p.costs.per_restart);
}

}  // namespace

TEST_CASE("no sequence of commands is less late, or as late and cheaper") {
  std::mt19937 random(2027);
  int by_treatment[3] = {};
  int late = 0;
  for (int i = 0; i < 2000; ++i) {
    Problem p = random_problem(random);
    p.q.line_at = {};
    const rules::GapSettings gap = costs_alone(p.costs);
    const plan::GapDecision answer =
        plan::decide_gap(p.q, gap, plan::LeadTimeModel(gap), rules::Policy::lookahead);
    const Score ours = score_of(p, answer);
    Score best;
    search_let_go(p, p.begin(), 0, 2, best);
    INFO(i << ": " << shown(p) << "; " << name_of(answer.treatment) << " late " << ours.late_s
           << " cost " << ours.cost << ", best late " << best.late_s << " cost " << best.cost);
    // The last preheat is found to a thousandth of a second.
    const double found_to = 2e-3 * (p.costs.per_hot_s + p.q.hotend.power_w * p.costs.per_j);
    REQUIRE(ours.late_s <= best.late_s + 1e-6);
    REQUIRE(ours.cost <= best.cost + found_to + 1e-9);
    ++by_treatment[int(answer.treatment)];
    late += int(best.late_s > 1e-3);
  }
  // All of them come up.
  CHECK(by_treatment[0] > 50);
  CHECK(by_treatment[1] > 300);
  CHECK(by_treatment[2] > 300);
  CHECK(late > 100);
}

TEST_CASE("where lines are rare, no sequence gains more than one of them costs") {
  std::mt19937 random(77);
  for (int i = 0; i < 600; ++i) {
    Problem p = random_problem(random);
    const rules::GapSettings gap = costs_alone(p.costs);
    const plan::GapDecision answer =
        plan::decide_gap(p.q, gap, plan::LeadTimeModel(gap), rules::Policy::lookahead);
    const Score ours = score_of(p, answer);
    Score best;
    search(p, p.begin(), 0, 3, best);
    INFO(i << ": " << shown(p) << "; " << name_of(answer.treatment) << " told at "
           << answer.preheat_after_s.value_or(-1));
    const double line_costs =
        p.step_s * (p.costs.per_hot_s + p.q.hotend.power_w * p.costs.per_j) + 1e-9;
    CHECK(ours.late_s <= best.late_s + 1e-6);
    CHECK(ours.cost <= best.cost + line_costs);
  }
}

TEST_CASE("a margin costs no more than the time it asks for") {
  std::mt19937 random(3);
  for (int i = 0; i < 1000; ++i) {
    const Problem p = random_problem(random);
    rules::GapSettings gap = costs_alone(p.costs);
    gap.on_time = 0.99;
    const plan::GapDecision answer =
        plan::decide_gap(p.q, gap, plan::LeadTimeModel(gap), rules::Policy::lookahead);
    if (!answer.preheat_after_s ||
        answer.rationale.cause == plan::Rationale::Cause::heated_at_once) {
      continue;
    }
    INFO(i << ": " << shown(p));
    // One line later, and the margin would not be kept.
    const double later = *answer.preheat_after_s + p.step_s;
    const double floor_c =
        answer.treatment == plan::Treatment::standby ? std::min(p.q.standby_c, p.q.ready_c) : 0;
    const double from_c = plan::parked_c(p.q, floor_c, later);
    const double lead =
        plan::LeadTimeModel(gap).lead_s(p.q.hotend, from_c, from_c == floor_c, p.q.ready_c, 0, 0);
    CHECK(later + lead > p.q.deadlines.front().after_s);
    CHECK(score_of(p, answer).late_s < 1e-6);
  }
}

// Albers, Energy-Efficient Algorithms, CACM 53(5), 2010: at an active rate r and a wake-up cost b,
// a timer at b/r is never worse than twice the best, and comes as close to that as one likes.
// The rates and costs are those of Irani, Shukla, Gupta, ACM TECS 2(3), 2003 (from memory): the
// two deepest states of theirs, 0.2 W and 0 W, 1.575 J and 4.75 J, part at 15.875 s.
TEST_CASE("the break-even of a heater without inertia is that of the books") {
  rules::GapSettings gap;
  gap.hot_idle_cost_per_h = 0;
  gap.energy_cost_per_kwh = 3.6e6;  // costs are joules
  gap.restart_cost = 4.75 - 1.575;
  // Gone cold and back at once; 0.2 W to stand by at 100 C above ambient.
  const thermal::Hotend instant{0.4, 223, 1e-4, 0, 23};
  CHECK(plan::break_even_s(instant, 123, 123, gap) == Approx(15.875).epsilon(1e-3));
  // Where a restart is dear beyond all bounds, it never is worth it; where it is free, always.
  gap.restart_cost = 1e12;
  CHECK(plan::break_even_s(instant, 123, 123, gap) == std::numeric_limits<double>::infinity());
  const thermal::Hotend slow{50, 450, 180, 2, 23};
  gap.restart_cost = 0;
  const double free = plan::break_even_s(slow, 215, 170, gap);
  CHECK(free > thermal::seconds_to_cool(slow, 215, 170));
  gap.restart_cost = 3600;
  CHECK(plan::break_even_s(slow, 215, 170, gap) > free + 100);
}

namespace {

// What a gap costs that a timer turns off at `timer_s`, and that is back just in time.
double timer_cost(const GapContext& q, const rules::GapSettings& gap, double timer_s) {
  const double length = q.deadlines.front().after_s;
  const double standby_c = std::min(q.standby_c, q.ready_c);
  if (length <= timer_s) {
    return plan::cost_of(
               q, gap, standby_c,
               thermal::dip_of_gap(q.hotend, q.start_c, q.ready_c, standby_c, length).preheat_at_s)
        .cost;
  }
  const double warm_c = standby_c + 5;
  thermal::HeaterState course(q.hotend, q.start_c);
  course.set_target(standby_c);
  thermal::HeaterUsage spent = course.advance(timer_s, warm_c);
  course.set_target(0);
  const thermal::Dip dip =
      thermal::dip_of_gap(q.hotend, course.temperature_c(), q.ready_c, 0, length - timer_s);
  spent.add(course.advance(dip.preheat_at_s, warm_c));
  course.set_target(q.ready_c);
  spent.add(course.advance(length - timer_s - dip.preheat_at_s, warm_c));
  return spent.above_s / 3600 * gap.hot_idle_cost_per_h +
         spent.energy_j / 3.6e6 * gap.energy_cost_per_kwh + gap.restart_cost;
}

}  // namespace

TEST_CASE("a timer at the break-even costs no more than twice the plan, and may cost that") {
  std::mt19937 random(8);
  std::uniform_real_distribution<double> unit(0, 1);
  double worst = 0;
  const auto ratio = [&](GapContext q, const rules::GapSettings& gap, double timer_s,
                         double length_s) {
    q.deadlines = {{length_s, q.ready_c}};
    const auto answer =
        plan::decide_gap(q, gap, plan::LeadTimeModel(gap), rules::Policy::lookahead);
    if (!answer.preheat_after_s) return 0.0;
    const double floor_c =
        answer.treatment == plan::Treatment::standby ? std::min(q.standby_c, q.ready_c) : 0;
    const double ours = plan::cost_of(q, gap, floor_c, *answer.preheat_after_s).cost;
    return timer_cost(q, gap, timer_s) / ours;
  };
  for (int i = 0; i < 400; ++i) {
    const Problem p = random_problem(random);
    if (p.q.start_target_c <= 0 || p.q.start_c != p.q.ready_c || p.costs.per_restart <= 0 ||
        p.q.standby_c > p.q.ready_c - 20) {
      continue;
    }
    const rules::GapSettings gap = costs_alone(p.costs);
    const double even = plan::break_even_s(p.q.hotend, p.q.ready_c, p.q.standby_c, gap);
    if (!std::isfinite(even)) continue;
    for (int k = 0; k < 20; ++k) {
      const double length = even * (k < 5 ? 1 + 1e-3 * k : 6 * unit(random)) + 0.1;
      INFO(i << ": " << shown(p) << ", gap of " << length << " s, even at " << even << " s");
      const double r = ratio(p.q, gap, even, length);
      CHECK(r <= 2 + 1e-6);
      worst = std::max(worst, r);
    }
  }
  CHECK(worst > 1.3);
  // The adversary's gap: the timer has just turned it off, and heat itself costs next to nothing.
  GapContext q;
  q.hotend = {50, 450, 0.01, 0, 23};
  q.start_c = q.start_target_c = q.ready_c = 215;
  q.standby_c = 170;
  q.max_hot_idle_s = 1e9;
  rules::GapSettings gap = costs_alone({0, 1e-6, 0.05});
  const double even = plan::break_even_s(q.hotend, 215, 170, gap);
  const double r = ratio(q, gap, even, even * 1.0001);
  CHECK(r > 1.99);
  CHECK(r <= 2 + 1e-6);
}
