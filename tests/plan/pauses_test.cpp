// What parked heaters do over a pause of the job, and what comes after it.
#include <cmath>

#include "help/jobs.h"
#include "plan/plan.h"
#include "script.h"

using namespace forewarm;
using namespace forewarm::test;
using AtPause = rules::GapSettings::AtPause;

namespace {

const std::string kStart = "M83\nM104 T0 S210\nM104 T1 S215\nM109 T0 S210\nM109 T1 S215\nT0\n";

rules::Rules two_heads(AtPause at_pause = AtPause::standby) {
  auto rules = rules_of(kTwoHeads);
  rules.gap.at_pause = at_pause;
  return rules;
}

// Ash is parked for `before_s`, a pause, and `after_s` more.
std::string paused(double before_s, double after_s, const std::string& pause = "M0") {
  return kStart + print(60) + "T1\n" + print(before_s) + pause + "\nG1 X1 F600\n" + print(after_s) +
         "T0\nM109 S210\n" + print(60);
}

const plan::GapPlan& gap_of_ash(const plan::Plan& plan) {
  for (const plan::GapPlan& g : plan.gaps) {
    if (g.head == 0 && g.before && g.after) return g;
  }
  FAIL("ash has no gap");
  throw 0;
}

std::string reasons(const plan::Plan& plan, std::size_t head) {
  std::string out;
  for (const plan::Command& c : plan.commands) {
    if (c.head == head) out += c.reason + '\n';
  }
  return out;
}

}  // namespace

TEST_CASE("a heater that would be held waits cool over a pause, and is heated right after it") {
  const auto rules = two_heads();
  const std::string text = paused(8, 4);
  const auto job = scan_of(text, rules);
  REQUIRE(job.pauses.size() == 1);
  const auto plan = plan_of(job, rules);
  CHECK(reasons(plan, 0) ==
        "standby: the job pauses, for nobody knows how long\n"
        "preheat: heated right after the pause, from 170 C, 22.8 s late\n"
        "off: no further use\n");
  // Not a second is lost where the job does not pause.
  const std::string without = paused(8, 4, ";M0");
  CHECK(plan_of(scan_of(without, rules), rules).figures.waits.gap_s == Approx(0).margin(0.01));
  CHECK(gap_of_ash(plan).wait_s > 20);
}

TEST_CASE("a preheat that finds its time after the pause stands where it would without one") {
  const auto rules = two_heads();
  const auto plan = plan_of(scan_of(paused(300, 300), rules), rules);
  const auto same = plan_of(scan_of(paused(300, 300, ";M0"), rules), rules);
  CHECK(gap_of_ash(plan).wait_s == Approx(0).margin(0.01));
  CHECK(*gap_of_ash(plan).preheat_at_s == Approx(*gap_of_ash(same).preheat_at_s).margin(2));
}

TEST_CASE("the job's own wait before a pause gives way to one behind it") {
  const auto rules = two_heads();
  const std::string text =
      kStart + print(60) + "T1\n" + print(300) + "M109 T0 S210\nM226\nT0\n" + print(60);
  const auto job = scan_of(text, rules);
  const auto plan = plan_of(job, rules);
  REQUIRE(plan.disabled.size() == 1);
  CHECK(job.targets[plan.disabled[0]].temp_c == 210);
  const std::string commands = script(text, plan);
  INFO(commands);
  // Ash is heated behind the pause, and waited for before it feeds.
  const std::size_t pause = text.find("M226");
  std::size_t heats = 0, waits = 0;
  for (const plan::Command& c : plan.commands) {
    if (c.head != 0 || c.temp_c < 200 || c.at.offset < text.find("T1\n")) continue;
    CHECK(c.at.offset > pause);
    (c.kind == plan::Command::Kind::wait ? waits : heats) += 1;
  }
  CHECK(heats == 1);
  CHECK(waits == 1);
}

TEST_CASE("what at_pause says is done over a pause, and as-planned and other policies know none") {
  const std::string text = paused(200, 60);
  const auto target_at_pause = [&](AtPause at_pause, rules::Policy policy) {
    const auto rules = two_heads(at_pause);
    const auto job = scan_of(text, rules);
    const auto plan = plan_of(job, rules, policy);
    double target_c = 210;
    for (const plan::Command& c : plan.commands) {
      if (c.head == 0 && c.at.offset <= job.pauses[0].at.offset) target_c = c.temp_c;
    }
    return target_c;
  };
  CHECK(target_at_pause(AtPause::standby, rules::Policy::lookahead) == 170);
  CHECK(target_at_pause(AtPause::off, rules::Policy::lookahead) == 0);
  CHECK(target_at_pause(AtPause::as_planned, rules::Policy::lookahead) == 170);
  CHECK(target_at_pause(AtPause::standby, rules::Policy::hold) == 210);
  const std::string shorter = paused(8, 4);
  for (const auto at_pause : {AtPause::standby, AtPause::off, AtPause::as_planned}) {
    const auto rules = two_heads(at_pause);
    const auto job = scan_of(shorter, rules);
    for (const auto policy :
         {rules::Policy::as_sliced, rules::Policy::hold, rules::Policy::timers}) {
      const auto plan = plan_of(job, rules, policy);
      const auto without = plan_of(scan_of(paused(8, 4, ";M0"), rules), rules, policy);
      CHECK(plan.commands.size() == without.commands.size());
      CHECK(plan.figures.wait_s == Approx(without.figures.wait_s).margin(0.01));
    }
    const auto plan = plan_of(job, rules);
    CHECK((gap_of_ash(plan).wait_s > 15) == (at_pause != AtPause::as_planned));
  }
}

TEST_CASE(
    "several pauses in a gap: it waits up to the last one, and the hot idle before it counts") {
  const auto rules = two_heads();
  const std::string text = kStart + print(60) + "T1\n" + print(200) + "M0\n" + print(200) +
                           "M0\nM25\n" + print(200) + "T0\nM109 S210\n" + print(60);
  const auto job = scan_of(text, rules);
  REQUIRE(job.pauses.size() == 3);
  const auto plan = plan_of(job, rules);
  const plan::GapPlan& gap = gap_of_ash(plan);
  CHECK(gap.to_s - gap.from_s > 600);
  CHECK(gap.wait_s == Approx(0).margin(0.01));
  CHECK(*gap.preheat_at_s > plan.pause_at_s[2]);
  CHECK(gap.dip_c == Approx(170));
  // From 210 C to 175 C, and back.
  CHECK(gap.hot_idle_s > 30);
  CHECK(gap.reason.find(" s after the pause, preheat ") != std::string::npos);
}

TEST_CASE("a heater that is off is not driven up to stand by over a pause") {
  const auto rules = two_heads();
  const std::string text = "M83\nM104 T0 S210\nM109 T0 S210\nT0\n" + print(60) + "M0\n" +
                           print(300) + "T1\nM109 T1 S215\n" + print(60);
  const auto plan = plan_of(scan_of(text, rules), rules);
  for (const plan::Command& c : plan.commands) {
    if (c.head == 1 && c.temp_c > 0) CHECK(c.temp_c == 215);
  }
  CHECK(plan.gaps.front().wait_s == Approx(0).margin(0.01));
}
