// A thousand random jobs against physics and against timers.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>

#include "help/jobs.h"
#include "help/random_job.h"
#include "plan/plan.h"
#include "script.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

struct Sums {
  double hot = 0, least = 0, margins = 0, sat_out = 0, wait = 0, as_sliced_wait = 0;
};

}  // namespace

TEST_CASE(
    "a thousand random jobs: no avoidable wait, as cool as physics, never beaten by a timer") {
  rules::Rules rules = rules_of(kThreeHeads);
  Sums all;
  int jobs = 0;
  for (int seed = 1; seed <= 1000; ++seed) {
    RandomJob random(std::uint64_t(seed) + 5000);
    const std::string text = random.make();
    const job::Job job = scan_of(text, rules);
    if (!job.worth_planning()) continue;
    ++jobs;
    const plan::Plan plan = plan_of(job, rules, rules::Policy::lookahead);
    INFO("seed " << seed);
    // What is waited for beyond the least that the gap allows: nothing.
    double hot = 0;
    double least = 0;
    double margins = 0;
    for (const plan::GapPlan& g : plan.gaps) {
      CHECK(g.wait_s <= g.least_wait_s + 0.05);
      hot += g.hot_idle_s;
      least += g.least_hot_idle_s;
      // What was asked for beyond the heating itself, and what a line was too early.
      if (g.preheat_at_s) margins += std::max(0.0, g.rationale.lead_s - g.rationale.heat_s);
      // Long enough to be let go of, but not with the margin.
      if (g.rationale.cause == plan::Rationale::Cause::too_short) {
        all.sat_out += g.hot_idle_s - g.least_hot_idle_s;
        margins += g.hot_idle_s - g.least_hot_idle_s;
      }
    }
    CHECK(hot <= 1.05 * least + margins + 1);
    // A wait is a wait of the start code, or of a gap that is too short: nobody waits less.
    for (const double off_s : {0.0, 60.0, 300.0, 600.0, 900.0, 1800.0, 3600.0}) {
      for (const double standby_s : {0.0, 120.0}) {
        if (seed % 10 != 0 && (off_s == 60 || standby_s > 0)) continue;
        rules.gap.timer_off_s = off_s;
        rules.gap.timer_standby_s = standby_s;
        const plan::Plan timers = plan_of(job, rules, rules::Policy::timers);
        const plan::Figures& t = timers.figures;
        const plan::Figures& p = plan.figures;
        INFO("timers " << standby_s << " and " << off_s);
        CHECK(p.wait_s <= t.wait_s + 0.05);
        // In nothing worse, and in something better: that no timer is.
        const bool beaten = t.wait_s <= p.wait_s + 0.05 && t.hot_idle_s <= p.hot_idle_s &&
                            t.energy_wh <= p.energy_wh &&
                            (t.hot_idle_s < p.hot_idle_s - 1 || t.energy_wh < p.energy_wh - 0.05);
        CHECK_FALSE(beaten);
      }
    }
    const plan::Plan as_sliced = plan_of(job, rules, rules::Policy::as_sliced);
    all.hot += hot;
    all.least += least;
    all.margins += margins;
    all.wait += plan.figures.wait_s;
    all.as_sliced_wait += as_sliced.figures.wait_s;
  }
  CHECK(jobs > 900);
  WARN(fmt::format(
      "{} jobs: hot idle {:.0f} s, {:.0f} s at the least, {:.0f} s of margins, of which {:.0f} s "
      "in gaps too short for them; waiting {:.0f} s, as sliced {:.0f} s",
      jobs, all.hot, all.least, all.margins, all.sat_out, all.wait, all.as_sliced_wait));
  CHECK(all.sat_out < 0.01 * all.hot);
}

// Toolheads that the start code heats although they are needed hours later; the last use; and the
// gap of what is put away while another is exchanged.
TEST_CASE("start and end, and the gap that an exchange is part of") {
  const rules::Rules rules = rules_of(kTwoHeads);
  const std::string text = "M83\nM104 T1 S215\nM109 T0 S210\nM109 T1 S215\nT0\n" + print(7200) +
                           "T1\nM109 S215\n" + print(120) + "T2\nM109 S215\n" + print(60) +
                           "T0\nM109 S210\n" + print(5) + "T1\nM109 S215\n" + print(30) +
                           "T0\nM109 S210\n" + print(600) + "M104 T0 S0\n";
  const job::Job job = scan_of(text, rules);
  const plan::Plan plan = plan_of(job, rules, rules::Policy::lookahead);
  std::string gaps;
  for (const plan::GapPlan& g : plan.gaps) {
    UNSCOPED_INFO(g.reason << " dip " << g.dip_c << " wait " << g.wait_s);
    gaps += fmt::format("{} {} {:.0f} s{}\n", job.heads[g.head].name, name_of(g.treatment),
                        g.to_s - g.from_s, g.after ? "" : ", the last");
  }
  CHECK(gaps ==
        "birch off 7201 s\n"   // heated by the start code: brought down, and back
        "ash standby 220 s\n"  // 10 s of change, 120 s, 30 s of exchange, 60 s
        "birch hold 15 s\n"
        "ash hold 70 s\n"  // birch is changed and exchanged for 40 s of it: no line to heat at in
                           // time
        "birch off 610 s, the last\n"
        "ash off 0 s, the last\n");
}
