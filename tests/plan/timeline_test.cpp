// One timeline: what a plan promises is what its rewritten text comes to, read anew as a job and
// replayed as it stands.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "help/files.h"
#include "help/jobs.h"
#include "help/random_job.h"
#include "plan/events.h"
#include "plan/plan.h"
#include "plan/problem.h"
#include "plan/simulate.h"
#include "rewrite/rewrite.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

// Temperatures are written with two decimals, and a line put in may make motion stop where it did
// not: 0.1 s and 0.1 % of the time. Hot idle and energy add up over heaters: 0.1 % and 0.5 s, 0.05
// Wh.
constexpr double kMarginS = 0.1, kShare = 1e-3;

// The text as a machine gets it: marks turned into plain comments, as scan() takes them for those
// of a file that was tampered with.
std::string rewritten(const std::string& text, const job::Job& job, const plan::Plan& plan,
                      const rules::Rules& rules) {
  TextSource source(text);
  TextSink sink;
  rewrite::ToSink pieces(source, sink);
  const auto edits = rewrite::edits_of(job, plan, rules);
  if (auto s = rewrite::rewrite(source, job, edits, rules.hash, pieces); !s) {
    FAIL(render(s.error()));
  }
  std::string out = sink.text();
  out.erase(0, out.find('\n') + 1);
  for (std::size_t at = 0; (at = out.find(";fw", at)) != std::string::npos;) {
    out.replace(at, 3, ";--");
  }
  return out;
}

struct Replayed {
  plan::Plan plan;
  plan::Simulation outcome;
  std::vector<double> tool_changes;  // wall
};

Replayed replayed(const job::Job& job, const rules::Rules& rules, rules::Policy policy) {
  Replayed out;
  auto plan = plan::make(job, rules, policy);
  if (!plan) FAIL(render(plan.error()));
  out.plan = std::move(*plan);
  const auto problem = plan::pose(job, rules, policy);
  REQUIRE(problem);
  plan::Timeline timeline;
  plan::events_of(*problem, out.plan, timeline);
  out.outcome = plan::simulate(job, timeline, problem->gaps.size());
  for (const job::ToolChange& s : job.tool_changes) {
    out.tool_changes.push_back(s.at.time_s + out.outcome.waits.before_line(s.at.offset));
  }
  return out;
}

// What differs most, of its tolerance.
struct Worst {
  double share = 0;
  std::string what;
  void see(const std::string& name, double promised, double came, double margin) {
    const double of = std::abs(came - promised) / (margin + kShare * std::abs(promised));
    if (of > share) {
      share = of;
      what = fmt::format("{}: promised {:.3f}, came to {:.3f}", name, promised, came);
    }
  }
};

// Plans, rewrites without the first `lost` commands, reads again, and compares; how much of the
// tolerance is used.
Worst compare(const std::string& text, const rules::Rules& rules, std::size_t lost = 0) {
  const job::Job job = scan_of(text, rules);
  const Replayed promised = replayed(job, rules, rules::Policy::lookahead);
  plan::Plan written = promised.plan;
  REQUIRE(written.commands.size() > lost);
  written.commands.erase(written.commands.begin(), written.commands.begin() + std::ptrdiff_t(lost));
  const job::Job again = scan_of(rewritten(text, job, written, rules), rules);
  const Replayed came = replayed(again, rules, rules::Policy::as_sliced);
  Worst worst;
  // What a sequence waits for is its own time to the plan; read again, it is a wait like others.
  const bool same_waits = !rules.uses_steps;
  REQUIRE(again.tool_changes.size() == job.tool_changes.size());
  REQUIRE(came.plan.gaps.size() == promised.plan.gaps.size());
  for (std::size_t s = 0; s < job.tool_changes.size(); ++s) {
    REQUIRE(again.tool_changes[s].tool == job.tool_changes[s].tool);
    worst.see(fmt::format("select {}", s), promised.tool_changes[s], came.tool_changes[s],
              kMarginS);
  }
  for (std::size_t g = 0; g < promised.plan.gaps.size(); ++g) {
    const plan::GapPlan& p = promised.plan.gaps[g];
    const plan::GapPlan& c = came.plan.gaps[g];
    REQUIRE(p.head == c.head);
    REQUIRE(p.after == c.after);
    const auto see = [&](const char* what, double a, double b, double margin) {
      worst.see(fmt::format("gap {} of {} {}", g, job.heads[p.head].name, what), a, b, margin);
    };
    // Let go of before another one is waited for at the same select: read again, the gap begins at
    // the select.
    const double later = c.from_s - p.from_s;
    if (rules.uses_steps && later > 0.5 && later <= promised.plan.figures.wait_s) continue;
    see("from", p.from_s, c.from_s, kMarginS);
    see("to", p.to_s, c.to_s, kMarginS);
    if (same_waits) see("wait", p.wait_s, c.wait_s, kMarginS);
    // Mounted to the end, and given a sequence: read again, its last gap begins within that.
    if (!p.after && rules.uses_steps) continue;
    see("hot idle", p.hot_idle_s, c.hot_idle_s, 0.5);
    see("dip", p.dip_c, c.dip_c, 0.1);
  }
  const plan::Figures& p = promised.plan.figures;
  const plan::Figures& c = came.plan.figures;
  worst.see("duration", p.duration_s, c.duration_s, kMarginS);
  if (same_waits) worst.see("wait", p.wait_s, c.wait_s, kMarginS);
  if (same_waits) worst.see("hot idle", p.hot_idle_s, c.hot_idle_s, 0.5);
  worst.see("energy", p.energy_wh, c.energy_wh, 0.05);
  worst.see("peak", p.peak_heating_w, c.peak_heating_w, 0);
  CHECK(p.cold_starts == c.cold_starts);
  // The figures are those of the plan's commands, not of a round before.
  worst.see("replay", p.duration_s, promised.outcome.figures.duration_s, 1e-6);
  for (std::size_t h = 0; h < job.heads.size(); ++h) {
    if (same_waits) {
      worst.see(job.heads[h].name + " waits", promised.plan.heads[h].wait_s,
                came.plan.heads[h].wait_s, kMarginS);
    }
    worst.see(job.heads[h].name + " energy", promised.plan.heads[h].energy_wh,
              came.plan.heads[h].energy_wh, 0.05);
  }
  return worst;
}

// Sixty of them, every third under a heating limit.
void check_random_jobs(rules::Rules rules) {
  double most = 0;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    INFO("seed " << seed);
    rules.machine.heating_limit_w.reset();
    if (seed % 3 == 0) rules.machine.heating_limit_w = 60;
    const Worst worst = compare(RandomJob(seed).make(), rules);
    INFO(worst.what);
    CHECK(worst.share <= 1);
    most = std::max(most, worst.share);
  }
  WARN("of the tolerance used: " << most);
}

}  // namespace

TEST_CASE("fixtures: the rewritten job takes the time that its plan promises") {
  const auto rules = rules_of(test::source_file("config/demo.toml"));
  for (const char* name : {"trail_map", "trail_map_absolute", "trail_map_arcs", "trail_map_crlf",
                           "trail_map_inches", "trail_map_lower", "trail_map_numbered"}) {
    INFO(name);
    const Worst worst = compare(test::fixture(std::string(name) + ".gcode"), rules);
    INFO(worst.what);
    CHECK(worst.share <= 1);
  }
}

TEST_CASE("random jobs: the rewritten job takes the time that its plan promises") {
  check_random_jobs(rules_of(kThreeHeads));
}

TEST_CASE("random jobs with step sequences take the time that their plans promise") {
  check_random_jobs(rules_of(three_heads_with_steps()));
}

TEST_CASE("a command that is lost on the way shows in the timeline") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = "M83\nM104 T0 S210\nM109 T0 S210\nT0\n" + print(60) +
                           "M104 T1 S215\nT1\n" + print(300) + "M104 T0 S205\nT0\n" + print(60);
  CHECK(compare(text, rules).share <= 1);
  CHECK(compare(text, rules, 2).share > 10);
}

TEST_CASE("waits taken out of running motion: the plan's clock knows that there is no stop") {
  // The job stops the printer for the other toolhead's heater. The plan takes these waits out, and
  // the stops with them: less than v/a = 150/1500 s each at this speed, by the jerk.
  const auto rules = rules_of(kTwoHeads);
  const std::string start = "M83\nM109 T1 S215\nM109 T0 S210\nT0\n" + print(40);
  std::string text = start;
  int stops = 0;
  for (int change = 0; change < 20; ++change) {
    const int to = 1 - change % 2;
    text += fmt::format("T{}\n", to) + print(100) + "G91\n";
    for (int i = 0; i < 5; ++i, ++stops) {
      text += fmt::format("G1 X30 E1 F9000\nM109 T{} S{}\nG1 X30 E1 F9000\n", 1 - to, 150 + i);
    }
    text += fmt::format("M109 T{} S{}\n", 1 - to, 210 + 5 * (1 - to)) + "G90\n" + print(30);
  }
  const job::Job job = scan_of(text, rules);
  const Replayed promised = replayed(job, rules, rules::Policy::lookahead);
  const job::Job again = scan_of(rewritten(text, job, promised.plan, rules), rules);
  const Replayed came = replayed(again, rules, rules::Policy::as_sliced);
  const double slow_s = promised.plan.figures.duration_s - came.plan.figures.duration_s;
  const double runs_on_s = promised.plan.figures.runs_on_s;
  WARN(fmt::format("{} stops less: {:.3f} s each", stops, runs_on_s / stops));
  CHECK(slow_s == Approx(0).margin(0.001));
  CHECK(runs_on_s > 0.05 * stops);
  CHECK(runs_on_s < 0.1 * stops);
}

TEST_CASE("a wait put in before the first use, where motion runs on, makes one stop") {
  const auto rules = rules_of(kTwoHeads);
  std::string text = "M83\nM109 T1 S215\nM104 T0 S210\nT0\nG91\n";
  for (int i = 0; i < 40; ++i) text += "G1 X1 F18000\n";
  text += print(40) + "T1\n" + print(60);
  const job::Job job = scan_of(text, rules);
  const Replayed promised = replayed(job, rules, rules::Policy::lookahead);
  const job::Job again = scan_of(rewritten(text, job, promised.plan, rules), rules);
  const Replayed came = replayed(again, rules, rules::Policy::as_sliced);
  CHECK(again.duration_s - job.duration_s > 0);
  CHECK(again.duration_s - job.duration_s < kMarginS);
  CHECK(came.plan.figures.wait_s == Approx(promised.plan.figures.wait_s).margin(kMarginS));
  CHECK(came.plan.figures.duration_s ==
        Approx(promised.plan.figures.duration_s).margin(kMarginS).epsilon(kShare));
}
