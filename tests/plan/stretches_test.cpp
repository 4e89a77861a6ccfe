// The longest stretches: without any command, and of each heater hot while parked.
#include <cmath>

#include "help/jobs.h"
#include "plan/plan.h"
#include "script.h"
#include "thermal/hotend.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

const std::string kStart = "M83\nM104 T0 S210\nM104 T1 S215\nM109 T0 S210\nM109 T1 S215\nT0\n";

plan::Plan plan_of_text(const std::string& text, const rules::Rules& rules,
                        rules::Policy policy = rules::Policy::lookahead) {
  return plan_of(scan_of(text, rules), rules, policy);
}

}  // namespace

TEST_CASE("the longest stretch without a command is that of one line, whatever it does") {
  const auto rules = rules_of(kTwoHeads);
  // The start code waits: from 20 C towards 420 C, to 215 C, is 200 s * ln(400/205) and 2 s.
  const double heats_s =
      thermal::seconds_to_heat(rules.toolheads[1].hotend, rules.machine.ambient_c, 215);
  REQUIRE(heats_s == Approx(2 + 200 * std::log(400.0 / 205)));
  const std::string end = print(20) + "T1\n" + print(20) + "T2\nM109 T2 S215\n" + print(20);
  const auto longest = [&](const std::string& between) {
    return plan_of_text(kStart + print(20) + between + end, rules).without_command;
  };
  const plan::Stretch waits = longest("");
  CHECK(waits.from_s == Approx(0).margin(0.1));
  CHECK(waits.seconds() == Approx(2 + 200 * std::log(400.0 / 210)).margin(0.1));
  // T1 is warm 5 s later.
  const plan::Stretch dwells = longest("G4 S300\n");
  CHECK(dwells.seconds() == Approx(300));
  // T0 is picked, and 20 s are printed before it.
  CHECK(dwells.from_s == Approx(heats_s + 20 + 4).margin(0.5));
  const plan::Stretch moves = longest("G90\nG1 X0 F6000\nG1 X200 F30\nG91\n");
  CHECK(moves.seconds() == Approx(400).margin(2));
  // Two that follow each other are two.
  CHECK(longest("G4 S200\nG4 S190\n").seconds() == Approx(200));
  // Without all these it would be the exchange.
  const std::string warm = "M83\nT0\nM104 T0 S21\nM104 T1 S21\nM109 T0 S21\nM109 T1 S21\n";
  const plan::Stretch exchange =
      plan_of_text(warm + print(20) + "T1\n" + print(20) + "T2\nM109 T2 S21\n" + print(20), rules)
          .without_command;
  CHECK(exchange.seconds() == Approx(30));
}

TEST_CASE("hot on end while parked: a gap that is held, or cooling down in one that is not") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = kStart + print(60) + "T1\n" + print(400) + "T0\nM109 S210\n" + print(5);
  const auto held = plan_of_text(text, rules, rules::Policy::hold);
  const plan::GapPlan* parked = nullptr;
  for (const plan::GapPlan& g : held.gaps) {
    if (g.head == 0 && g.before && g.after) parked = &g;
  }
  REQUIRE(parked != nullptr);
  CHECK(held.heads[0].hot_parked.from_s == Approx(parked->from_s));
  CHECK(held.heads[0].hot_parked.to_s == Approx(parked->to_s));
  // From 210 C to 175 C, ambient 20 C, or that of the last gap.
  const auto ahead = plan_of_text(text, rules);
  const double cools_s = 200 * std::log(190.0 / 155);
  CHECK(ahead.heads[0].hot_parked.seconds() == Approx(cools_s).margin(0.5));
  CHECK(ahead.heads[0].hot_idle_s > ahead.heads[0].hot_parked.seconds() + 10);
  CHECK(ahead.heads[1].hot_parked.seconds() > 0);
}
