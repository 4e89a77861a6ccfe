// What heaters and waits do besides, as plans take it into account: settling in leads, waits that
// take a while however warm, waits for a minimum.
#include <algorithm>
#include <catch2/catch.hpp>

#include "help/files.h"
#include "help/jobs.h"
#include "plan/plan.h"
#include "plan/script.h"
#include "rewrite/rewrite.h"

using namespace forewarm;
using namespace forewarm::test;
using plan::Treatment;

namespace {

// Leads are what heating takes, and no more; each heater has `heater` besides.
rules::Rules rules_with(const std::string& heater, const std::string& dialect = "") {
  std::string toml = kTwoHeads;
  const std::string last = "max_c = 290";
  for (std::size_t at = 0; (at = toml.find(last, at)) != std::string::npos; at += last.size()) {
    toml.insert(at + last.size(), heater.empty() ? "" : ", " + heater);
  }
  return rules_of(toml + "[gap]\nlead_stretch = 0\nlead_extra_s = 0\n[dialect]\n" + dialect);
}

// Ash, birch for long, ash again: ash stands by. Each is waited for at each select.
const std::string& there_and_back() {
  static const std::string job = "M83\nM104 T1 S210\nM109 T0 S200\nT0\n" + print(60) +
                                 "T1\nM109 T1 S210\n" + print(400) + "T0\nM109 T0 S200\n" +
                                 print(60);
  return job;
}

const plan::GapPlan& standby_of(const plan::Plan& plan) {
  const auto at = std::find_if(plan.gaps.begin(), plan.gaps.end(), [](const plan::GapPlan& g) {
    return g.head == 0 && g.treatment == Treatment::standby;
  });
  REQUIRE(at != plan.gaps.end());
  return *at;
}

plan::Plan plan_with(const rules::Rules& rules) {
  return plan_of(scan_of(there_and_back(), rules), rules);
}

}  // namespace

TEST_CASE("settling is part of the lead, and then costs no waiting") {
  const plan::Plan plain = plan_with(rules_with(""));
  const plan::Plan settled = plan_with(rules_with("settle_s = 7"));
  const plan::GapPlan& before = standby_of(plain);
  const plan::GapPlan& after = standby_of(settled);
  CHECK(after.rationale.heat_s == Approx(before.rationale.heat_s + 7));
  // A command stands before a line, and each takes 2 s.
  CHECK(*before.preheat_at_s - *after.preheat_at_s == Approx(0).margin(9.1));
  CHECK(*after.preheat_at_s < *before.preheat_at_s);
  CHECK(after.wait_s == 0);
  // What the start code waits for is heated first, and waited for until it has settled.
  CHECK(settled.figures.waits.start_code_s == Approx(plain.figures.waits.start_code_s + 7));
}

TEST_CASE("a heater that slows down near its target is told earlier") {
  const plan::GapPlan before = standby_of(plan_with(rules_with("")));
  const plan::GapPlan after = standby_of(plan_with(rules_with("approach_c = 20, reached_c = 1")));
  // From 170 C: full drive to 180 C, and 20 C to 1 C with 200/(1 + 220/20) s. Undriven it is held.
  const double full_s = 200 * std::log(250.0 / 240);
  CHECK(after.rationale.heat_s == Approx(2 + full_s + 200.0 / 12 * std::log(20.0)));
  CHECK(before.rationale.heat_s == Approx(2 + 200 * std::log(250.0 / 220)));
  CHECK(after.wait_s == 0);
}

TEST_CASE("how fast it cools decides how long it is hot") {
  const plan::GapPlan slow = standby_of(plan_with(rules_with("")));
  const plan::GapPlan fast = standby_of(plan_with(rules_with("cool_time_constant_s = 100")));
  CHECK(fast.rationale.heat_s == Approx(slow.rationale.heat_s));
  CHECK(slow.hot_idle_s - fast.hot_idle_s > 10);
  CHECK(fast.hot_idle_s >= fast.least_hot_idle_s - 1e-6);
}

TEST_CASE("each wait takes a while, however warm all is") {
  const plan::Plan plain = plan_with(rules_with(""));
  const plan::Plan taking = plan_with(rules_with("", "wait_takes_s = 3\n"));
  REQUIRE(plain.figures.guard_s == 0);
  // Three waits: the first, for a cold heater, takes longer anyway.
  CHECK(taking.figures.guard_s == Approx(6));
  CHECK(taking.figures.wait_s == Approx(plain.figures.wait_s));
  CHECK(taking.figures.duration_s == Approx(plain.figures.duration_s + 6));
  CHECK(taking.change_at_s.back() == Approx(plain.change_at_s.back() + 3));
  CHECK(standby_of(taking).wait_s == 0);
}

TEST_CASE("a wait for a minimum costs nothing when warm, and asks for no settling") {
  // Nothing waits here but the plan.
  const std::string job = "M83\nM104 T1 S210\nM109 T0 S200\nT0\n" + print(60) + "T1\n" +
                          print(400) + "T0\nM104 T0 S200\n" + print(60);
  const auto plan_by = [&](const rules::Rules& rules) {
    return plan_of(scan_of(job, rules), rules);
  };
  const std::string takes = "wait_takes_s = 3\n";
  const std::string least = "wait = \"AWAIT T{tool} S{temp} L{least}\"\nwait_window_c = 5\n";
  const plan::Plan exact = plan_by(rules_with("settle_s = 7", takes));
  const plan::Plan minimum = plan_by(rules_with("settle_s = 7", takes + least));
  CHECK(exact.figures.guard_s == Approx(6));
  CHECK(minimum.figures.guard_s == 0);
  CHECK(*standby_of(minimum).preheat_at_s > *standby_of(exact).preheat_at_s);
  CHECK(standby_of(minimum).wait_s == 0);
  CHECK(standby_of(minimum).least_wait_s == 0);

  // As it is written.
  const rules::Rules rules = rules_with("", least);
  const job::Job scanned = scan_of(job, rules);
  std::string written;
  for (const rewrite::Edit& e : rewrite::edits_of(scanned, plan_of(scanned, rules), rules)) {
    if (e.command.starts_with("AWAIT")) written += e.command + '\n';
  }
  CHECK(written == "AWAIT T1 S210 L205\nAWAIT T0 S200 L195\n");
}

TEST_CASE("where it cannot be warm in time, a wait for a minimum is over sooner") {
  const std::string job = "M83\nM109 T0 S200\nT0\n" + print(60) + "T1\nM104 T1 S210\n" + print(30);
  const auto waits = [&](const std::string& dialect) {
    const rules::Rules rules = rules_with("settle_s = 7", dialect);
    return plan_of(scan_of(job, rules), rules).figures.waits.gap_s;
  };
  const double exact = waits("");
  const double minimum = waits("wait = \"AWAIT T{tool} S{temp} L{least}\"\nwait_window_c = 5\n");
  REQUIRE(minimum > 10);
  // Towards 420 C: the last 5 C of 210 C, and settling.
  CHECK(exact - minimum == Approx(7 + 200 * std::log(215.0 / 210)).margin(0.05));
}

TEST_CASE("a heater stands by while the machine waits, though its preheat is right behind") {
  const auto rules = rules_of(kTwoHeads);
  // Ash stays mounted until birch is hot for its exchange.
  const std::string text = "M83\nM104 T0 S210\nT1\nG1 X1 E1 F600\nT0\n" + print(5) +
                           "T2\nM109 T2 S235\n" + print(2) + "G4 S5\nT0\n" + print(20);
  const std::string commands = script(text, plan_of(scan_of(text, rules), rules));
  INFO(commands);
  CHECK(commands.find("set T0 170 | T2\nwait T2 235 | T2\nset T0 210 | T2\n") != std::string::npos);
}
