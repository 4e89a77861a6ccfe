#include "plan/plan.h"

#include <fmt/format.h>

#include <cmath>
#include <random>

#include "help/files.h"
#include "help/jobs.h"
#include "plan/decide_gap.h"
#include "plan/describe.h"
#include "plan/gap_cost.h"
#include "plan/simulate.h"
#include "plan/transitions.h"
#include "script.h"

using namespace forewarm;
using namespace forewarm::test;
using plan::Treatment;

namespace {

const std::string kStart = "M83\nM104 T0 S210\nM104 T1 S215\nM109 T0 S210\nM109 T1 S215\nT0\n";

}  // namespace

TEST_CASE("a short gap is held, a long one goes to standby and comes back, the last is off") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = kStart + print(60) + "T1\n" + print(300) + "T0\nM109 S210\n" + print(5) +
                           "T1\nM109 S215\n" + print(60);
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  std::string treatments;
  for (const auto& g : plan.gaps) {
    treatments += fmt::format("{} {}\n", job.heads[g.head].name, name_of(g.treatment));
  }
  CHECK(treatments ==
        "birch standby\n"  // before its first use
        "ash standby\n"
        "birch hold\n"
        "ash off\n"
        "birch off\n");
  // Only the start code waits.
  const auto as_sliced = plan_of(job, rules, rules::Policy::as_sliced);
  CHECK(plan.figures.wait_s == Approx(as_sliced.figures.wait_s).margin(0.01));
  CHECK(plan.figures.hot_idle_s < as_sliced.figures.hot_idle_s);
}

TEST_CASE("an exchange in place is guarded, and nothing makes it cold") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = "M83\nM109 T1 S215\nT1\n" + print(60) +
                           "M104 T1 S170\nT2\nM109 T2 S225\n" + print(60) +
                           "M104 T2 S170\nT1\nM109 T1 S215\n" + print(60) + "M104 S0\n";
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  CHECK(script(text, plan) ==
        "wait T2 215 | T2\n"
        "set T2 225 | T2\n"
        "wait T1 225 | T1\n"
        "set T1 0 | G90\n");
  CHECK(plan.disabled.size() == 2);
}

TEST_CASE("a use without a wait of its own gets one, behind its select") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = kStart + print(60) + "M104 T0 S150\nT1\n" + print(400) +
                           "M104 T0 S205\nT0\nG1 E1\n" + print(60);
  const auto job = scan_of(text, rules);
  const std::string commands = script(text, plan_of(job, rules));
  CHECK(commands.find("wait T0 205 | G1 E1\n") != std::string::npos);
  CHECK(commands.find("wait T1 215 | G91\n") != std::string::npos);
}

TEST_CASE("a wait for less on the way to a use gives way to the plan's: no target goes down") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text =
      kStart + print(60) + "T1\n" + print(400) + "M109 T0 S180\nT0\nM109 T0 S210\n" + print(60);
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  REQUIRE(plan.disabled.size() == 1);
  CHECK(job.targets[plan.disabled[0]].temp_c == 180);
  CHECK(script(text, plan).find("wait T0 210 | M109 T0 S180\n") != std::string::npos);
  CHECK(plan.figures.wait_s == Approx(plan_of(job, rules, rules::Policy::hold).figures.wait_s));
}

TEST_CASE("what the job never said is refused, not invented") {
  const auto rules = rules_of(kTwoHeads);
  const auto refusal = [&](const std::string& text) {
    auto plan = plan::make(scan_of(text, rules), rules, rules::Policy::lookahead);
    REQUIRE_FALSE(plan);
    CHECK(plan.error().kind == Error::Kind::refused);
    return plan.error().message;
  };
  CHECK(refusal("M83\nM109 T0 S210\nT0\n" + print(60) + "T1\n" + print(60)) ==
        "T1 feeds filament here, but the job has not given toolhead \"birch\" a temperature");
  CHECK(refusal("M83\nM109 T0 S210\nT0\n" + print(60) + "M104 T0 S0\nT1\nM109 S200\n" + print(9) +
                "T0\n" + print(60)) ==
        "T0 feeds filament here, but the job has not given toolhead \"ash\" a temperature");
}

TEST_CASE("the start code keeps its targets, and heaters it leaves on for nothing go off") {
  const auto rules = rules_of(kTwoHeads);
  // birch is heated and never used; there is still more than one use.
  const std::string text =
      "M83\nM104 T1 S215\nM109 T0 S210\nT0\n" + print(60) + "T-1\nT0\n" + print(60);
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  CHECK(script(text, plan).substr(0, 10) == "set T1 0 |");
  CHECK(plan.disabled.empty());
}

TEST_CASE("a job without a change has nothing to plan") {
  const auto rules = rules_of(kTwoHeads);
  const auto job = scan_of("M83\nM109 T0 S210\nT0\n" + print(60) + "T0\n" + print(60), rules);
  CHECK_FALSE(job.worth_planning());
  CHECK_FALSE(plan_of(job, rules).changes_anything());
}

// The oracle: one gap, its heater advanced in small Euler steps; every preheat second is tried.
namespace {

struct Tried {
  double hot_s, late_s;
};

Tried euler(const plan::GapContext& q, double floor_c, double preheat_s, double until_s) {
  constexpr double kStep = 0.02;
  const double warm = q.standby_c + 5;
  double t_c = q.start_c;
  double hot = 0;
  double dead = q.hotend.dead_time_s;
  for (double t = 0; t < 4000; t += kStep) {
    if (t < until_s && t_c > warm) hot += kStep;
    if (t >= q.deadlines.front().after_s && t_c >= q.ready_c - 0.05) {
      return {hot, t - q.deadlines.front().after_s};
    }
    if (t >= preheat_s) {
      if (t_c >= q.ready_c) continue;
      dead -= kStep;
      if (dead < 0) {
        t_c += kStep * (q.hotend.full_drive_c - t_c) / q.hotend.time_constant_s;
        continue;
      }
    }
    if (t_c > floor_c) t_c -= kStep * (t_c - q.hotend.ambient_c) / q.hotend.time_constant_s;
  }
  return {hot, 1e9};
}

}  // namespace

TEST_CASE("no preheat second is both in time and cooler than the least that is claimed") {
  std::mt19937 random(20);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int i = 0; i < 60; ++i) {
    plan::GapContext q;
    q.hotend = {50, 380 + 100 * unit(random), 120 + 150 * unit(random), 3 * unit(random), 20};
    q.start_c = q.start_target_c = q.ready_c = 200 + 40 * unit(random);
    q.standby_c = 150 + 30 * unit(random);
    const double length = 20 + 400 * unit(random);
    q.deadlines = {{length, q.ready_c}};
    const auto least = plan::physical_bound(q, length);
    double best = 1e9;
    for (double p = 0; p <= length; p += 1) {
      const Tried tried = euler(q, q.standby_c, p, length);
      if (tried.late_s < 0.1) best = std::min(best, tried.hot_s);
    }
    INFO(fmt::format("gap {} of {:.1f} s", i, length));
    CHECK(least.late_s == Approx(0).margin(0.01));
    CHECK(best >= least.hot_idle_s - 0.6);
    CHECK(best <= least.hot_idle_s + 2.5);  // whole seconds were tried
    // And the plan keeps to it, but for its margins.
    const rules::GapSettings gap;
    const auto answer =
        plan::decide_gap(q, gap, plan::LeadTimeModel(gap), rules::Policy::lookahead);
    if (answer.preheat_after_s && answer.treatment == Treatment::standby) {
      const Tried planned = euler(q, q.standby_c, *answer.preheat_after_s, length);
      CHECK(planned.late_s < 0.1);
      const double lead = length - *answer.preheat_after_s;
      CHECK(planned.hot_s <= least.hot_idle_s + gap.kLeadExtraS + gap.kLeadStretch * lead + 1);
    }
  }
}

TEST_CASE("a gap too short for its heater waits no longer than physics") {
  plan::GapContext q;
  q.hotend = {50, 420, 200, 2, 20};
  q.start_c = 20;
  q.ready_c = 215;
  q.standby_c = 170;
  q.deadlines = {{30, 215}};
  const auto answer = plan::decide_gap(
      q, rules::GapSettings{}, plan::LeadTimeModel(rules::GapSettings{}), rules::Policy::lookahead);
  REQUIRE(answer.actions.size() == 1);
  CHECK(answer.actions[0].after_s == 0);
  CHECK(answer.actions[0].target_c == 215);
  CHECK(plan::physical_bound(q, 30).late_s ==
        Approx(thermal::seconds_to_heat(q.hotend, 20, 215) - 30).margin(1e-6));
}

TEST_CASE("the treatment follows the rules, with the reason in words") {
  plan::GapContext q;
  q.hotend = {50, 420, 200, 2, 20};
  q.start_c = q.start_target_c = q.ready_c = 215;
  q.standby_c = 170;
  q.max_hot_idle_s = 900;
  const auto reason = [&](double length, const rules::GapSettings& gap) {
    q.deadlines = {{length, 215}};
    const auto a = plan::decide_gap(q, gap, plan::LeadTimeModel(gap), rules::Policy::lookahead);
    return std::string(name_of(a.treatment)) + ": " + plan::describe(a.rationale);
  };
  rules::GapSettings gap;
  CHECK(reason(12, gap) == "hold: parked 12 s, would dip only 6.0 C");
  CHECK(reason(600, gap) == "standby: parked 600 s, preheat 52.9 s ahead from 170 C");
  CHECK(reason(1600, gap) ==
        "off: parked 1600 s, more than 1500 s, preheat 164.7 s ahead from 20 C");
  gap.hold_drop_c = 0;
  CHECK(reason(4, gap) == "hold: parked 4 s, too short to cool and heat again");
  gap = rules::GapSettings{};
  q.max_hot_idle_s = 60;
  CHECK(reason(600, gap).substr(0, 50) == "off: standby would be hot for 85 s, limit 60 s, pr");
}

TEST_CASE("random jobs: every plan keeps its invariants and is never worse than the timers") {
  const auto rules = rules_of(kTwoHeads);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int i = 0; i < 150; ++i) {
    std::string text = "M83\nM109 T0 S210\nM109 T1 S215\nT0\n" + print(20);
    int tool = 0;
    for (int n = 0; n < 25; ++n) {
      const int next = int(unit(random) * 3);
      if (next != tool) text += fmt::format("M104 T{} S170\n", tool);
      text += fmt::format("T{}\n", next);
      if (next != tool) text += fmt::format("M109 T{} S{}\n", next, 205 + 5 * next);
      text += print(std::exp(1 + 6 * unit(random)));
      tool = next;
    }
    const auto job = scan_of(text, rules);
    const auto plan = plan_of(job, rules);
    const auto timers = plan_of(job, rules, rules::Policy::timers);
    const auto hold = plan_of(job, rules, rules::Policy::hold);
    const auto as_sliced = plan_of(job, rules, rules::Policy::as_sliced);
    INFO("job " << i);
    double unavoidable = 0;
    for (const auto& g : plan.gaps) unavoidable += g.least_wait_s;
    const double start_wait = hold.figures.wait_s;
    CHECK(plan.figures.wait_s <= start_wait + unavoidable + 0.1);
    CHECK(plan.figures.wait_s <= timers.figures.wait_s + 0.1);
    CHECK(plan.figures.wait_s <= as_sliced.figures.wait_s + 0.1);
    CHECK(plan.figures.hot_idle_s <= hold.figures.hot_idle_s + 0.1);
    // Planned again from its own text, the same.
    CHECK(script(text, plan_of(job, rules)) == script(text, plan));
  }
}

TEST_CASE("the demo job: nothing is waited for that could be avoided") {
  const auto rules = rules_of(test::source_file("config/demo.toml"));
  const auto job = scan_of(test::fixture("trail_map.gcode"), rules);
  CHECK(job.count(job::ChangeKind::toolhead) + job.count(job::ChangeKind::filament) +
            job.count(job::ChangeKind::both) >
        200);
  const auto plan = plan_of(job, rules);
  const auto as_sliced = plan_of(job, rules, rules::Policy::as_sliced);
  const auto hold = plan_of(job, rules, rules::Policy::hold);
  CHECK(plan.figures.wait_s == Approx(hold.figures.wait_s).margin(0.1));
  CHECK(plan.figures.wait_s < 0.05 * as_sliced.figures.wait_s);
  double least = 0;
  for (const auto& g : plan.gaps) least += g.least_hot_idle_s;
  CHECK(plan.figures.hot_idle_s >= least);
  // Beyond that, the margins only, and the 5 % that lines and exchanges take.
  double margins = 0;
  for (const auto& g : plan.gaps) {
    if (g.preheat_at_s) margins += g.rationale.lead_s - g.rationale.heat_s;
  }
  CHECK(plan.figures.hot_idle_s < 1.05 * least + margins);
  CHECK(hold.figures.hot_idle_s > 2 * least);
}

TEST_CASE("a wait before the select stays, also where the other tool retracts after it") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = kStart + print(60) + "M104 T0 S170\nT1\n" + print(400) +
                           "M109 T0 S210\nG1 E-2\nT0\n" + print(60);
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  CHECK(plan.disabled.size() == 1);  // the drop to 170
  CHECK(script(text, plan).find("wait T0 210") == std::string::npos);
  // It is the wait itself that the preheat is in time for.
  CHECK(plan.figures.wait_s == Approx(plan_of(job, rules, rules::Policy::hold).figures.wait_s));
}

TEST_CASE("what is only exchanged is not waited for, and not left on") {
  const auto rules = rules_of(kTwoHeads);
  const std::string start = "M83\nM104 T0 S210\nM109 T1 S215\nT1\n" + print(60);
  // At the end, where nothing prints it any more.
  std::string text = start + "T2\n";
  CHECK(script(text, plan_of(scan_of(text, rules), rules)) ==
        "set T0 0 | G1 X20.000000 E0.200000 F600\n"
        "wait T2 215 | T2\n"
        "set T2 0 | \n");
  // Put away right after it: what its gap does must not be overtaken by a wait.
  text = start + "T2\nT0\n" + print(400) + "T2\n" + print(60);
  const auto job = scan_of(text, rules);
  CHECK(script(text, plan_of(job, rules)) ==
        "set T0 170 | G1 X20.000000 E0.200000 F600\n"
        "set T0 210 | G1 X-20.000000 E0.200000 F600\n"
        "wait T2 215 | T2\n"
        "set T2 160 | T0\n"
        "wait T0 210 | G91\n"
        "set T2 215 | G1 X-20.000000 E0.200000 F600\n"
        "set T0 0 | T2\n"
        "wait T2 215 | G91\n"
        "set T2 0 | G90\n");
}

TEST_CASE("a line that feeds and selects: what it puts away is parked behind it") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text =
      kStart + "M207 S1 F2100\n" + print(60) + "G10\nT1 G11\n" + print(400) + "T0\n" + print(60);
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  const std::uint64_t behind = text.find("G11\n") + 4;
  for (const auto& c : plan.commands) {
    if (c.head == 0) CHECK(c.at.offset >= behind);
  }
}

TEST_CASE("a job of nothing but exchanges takes no more than its length") {
  const auto rules = rules_of(kTwoHeads);
  std::string text = "M83\nM109 T1 S215\nT1\nG1 X1 E1 F600\n";
  for (int i = 0; i < 100'000; ++i) text += "T2\nT1\n";
  const auto job = scan_of(text, rules);
  CHECK(job.uses.size() == 200'001);
  const auto plan = plan_of(job, rules);
  CHECK(plan.commands.back().temp_c == 0);
}

TEST_CASE("tens of thousands of toolheads, heated over and over, take no more than their number") {
  const auto rules = rules_of(std::string(rules::built_in_text()));
  std::string text = "M83\n";
  for (int round = 0; round < 6; ++round) {
    for (int t = 0; t < 20'000; ++t) text += fmt::format("M104 T{} S{}\n", t, 200 + round);
  }
  for (int t = 0; t < 20'000; ++t) text += fmt::format("T{}\nG1 X{} E1 F600\n", t, t % 9);
  const auto job = scan_of(text, rules);
  CHECK(job.heads.size() == 20'000);
  CHECK(job.heads[19'999].tools == std::vector<int>{19'999});
  const auto plan = plan_of(job, rules);
  CHECK(plan.heads.size() == 20'000);
}

TEST_CASE("the first use gets a wait where the start code has none") {
  const auto rules = rules_of(kTwoHeads);
  const std::string tail = "T0\n" + print(60) + "T1\nM109 T1 S215\n" + print(60);
  const auto commands = [&](const std::string& start) {
    const std::string text = "M83\n" + start + tail;
    return script(text, plan_of(scan_of(text, rules), rules));
  };
  CHECK(commands("M104 T0 S210\n").find("wait T0 210 | G1 X20") != std::string::npos);
  CHECK(commands("M109 T0 S210\n").find("wait T0 210") == std::string::npos);
}
