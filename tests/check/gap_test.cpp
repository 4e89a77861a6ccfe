// Gaps made by hand, judged: what a heater should have done between two uses, from closed forms
// worked out here, at the tolerances of the check and a little to either side of them.
//
// Formulas: lumped capacitance, (T - T_inf)/(T_i - T_inf) = exp(-t/tau) (Incropera & DeWitt,
// Fundamentals of Heat and Mass Transfer, ch. 5; from memory).
#include "check/gap.h"

#include <fmt/format.h>
#include <catch2/catch.hpp>
#include <cmath>

using namespace forewarm;
using check::HeaterCommand;
using check::Id;
using check::LongLines;
using check::ObservedGap;

namespace {

// Round numbers: ambient 0, at full drive towards 400, time constant 100 s.
const thermal::Hotend kHotend{
    .power_w = 40, .full_drive_c = 400, .time_constant_s = 100, .dead_time_s = 0, .ambient_c = 0};
constexpr double kWork = 200, kStandby = 100;

// Seconds from one temperature to another at full drive, and undriven.
double heating_s(double from_c, double to_c) {
  return 100 * std::log((400 - from_c) / (400 - to_c));
}
double cooling_s(double from_c, double to_c) { return 100 * std::log(from_c / to_c); }
double cooled_c(double from_c, double seconds) { return from_c * std::exp(-seconds / 100); }

// What the check allows: 1.5 s and 1 % of the time in question.
double slack_s(double of_s) { return 1.5 + 0.01 * of_s; }

rules::Toolhead birch() {
  rules::Toolhead head;
  head.name = "birch";
  head.tools = {1, 2};
  head.hotend = kHotend;
  return head;
}

// A gap from 1000 s on, after printing at 200 C. Orders are put in, line after line from 2 on.
struct Script {
  ObservedGap gap;
  rules::Toolhead head = birch();
  rules::GapSettings rules;
  LongLines lines;

  explicit Script(double length_s, double start_c = kWork, double start_target_c = kWork)
      : gap{.start = thermal::HeaterState(kHotend, start_c)} {
    gap.start.set_target(start_target_c);
    gap.from_s = 1000;
    gap.used_c = start_target_c;
    gap.to_s = gap.fed_s = gap.exchanged_s = 1000 + length_s;
    gap.line = 99;
    gap.out_c = gap.work_c = kWork;
    gap.standby_c = kStandby;
    gap.max_hot_idle_s = 900;
    rules.lead_stretch = 0.10;
    rules.lead_extra_s = 4;
    rules.hold_drop_c = 8;
    rules.off_over_s = 1500;
  }
  Script& order(double at_s, double target_c) {
    HeaterCommand o;
    o.at_s = 1000 + at_s;
    o.target_c = target_c;
    o.inserted = true;
    o.line = gap.commands.size() + 2;
    gap.commands.push_back(o);
    return *this;
  }
  Script& wait(double at_s, double target_c, double waited_s = 0) {
    order(at_s, target_c);
    gap.commands.back().waits = true;
    gap.commands.back().waited_s = waited_s;
    return *this;
  }
  Script& by_the_job() {
    gap.commands.back().inserted = false;
    return *this;
  }
  Script& long_line(double from_s, double to_s) {
    lines.add(1000 + from_s, 1000 + to_s, 1);
    return *this;
  }
  [[nodiscard]] check::Findings found() const {
    check::Findings findings;
    rules::Rules all;
    all.gap = rules;
    const check::Surroundings around(all);
    check::judge(gap, {head, 0, rules, lines, around}, findings);
    return findings;
  }
};

std::string shown(const check::Findings& findings) {
  std::string out;
  for (const check::Finding& f : findings.list()) {
    out += fmt::format("{}{} {}", out.empty() ? "" : ", ", f.line, check::name_of(f.id));
  }
  return out;
}
std::string judged(const Script& script) { return shown(script.found()); }

// Put on standby at once and brought back `ahead_s` before the end, with a wait there.
Script standby(double length_s, double ahead_s) {
  Script s(length_s);
  s.order(0, kStandby).order(length_s - ahead_s, kWork).wait(length_s, kWork);
  return s;
}
// From standby: 40.55 s of heating by the formula, a tenth and 4 s more by the rules.
const double kLead = heating_s(kStandby, kWork) * 1.10 + 4;

}  // namespace

TEST_CASE("the lead is worked out from the formula") {
  CHECK(heating_s(100, 200) == Approx(40.546510810816438));  // 100 ln(3/2)
  CHECK(kLead == Approx(48.601161891898081));
  CHECK(judged(standby(600, kLead)).empty());
}

TEST_CASE("brought back late: 1.5 s and 1 % are let pass") {
  const double least = kLead - slack_s(kLead);
  CHECK(judged(standby(600, least + 0.01)).empty());
  CHECK(judged(standby(600, least - 0.01)) == "3 preheat-late");
  // The message has the numbers.
  const auto findings = standby(600, 40).found();
  REQUIRE(findings.list().size() == 1);
  CHECK(findings.list()[0].message ==
        "birch: 40.0 s ahead from 100 C; the rules ask for 48.6 s to reach 200 C");
}

TEST_CASE("brought back early: where a line 2.5 s later would not do, it is as late as it can be") {
  // Some tenths, and one hundredth of what is then left, are spared, as the clock is only so good.
  const double most = (kLead + 0.3) / (1 - 0.01) + 2.5;
  CHECK(judged(standby(600, most - 0.01)).empty());
  CHECK(judged(standby(600, most + 0.01)) == "3 preheat-early");
  const auto findings = standby(600, 60).found();
  REQUIRE(findings.list().size() == 1);
  CHECK(findings.list()[0].message ==
        "birch: 60.0 s ahead from 100 C; the rules ask for 48.6 s, and a line 2.5 s later would "
        "still do");
}

TEST_CASE("brought back before a long line, it cannot be later than that") {
  // The line ends 40 s before the use, which would be too late.
  CHECK(judged(standby(600, 90)) == "3 preheat-early");
  CHECK(judged(standby(600, 90).long_line(510, 560)).empty());
  // Of this one there would have been the end.
  CHECK(judged(standby(600, 90).long_line(510, 530)) == "3 preheat-early");
  // It begins too late to be an excuse.
  CHECK(judged(standby(600, 90).long_line(520, 560)) == "3 preheat-early");
}

TEST_CASE("brought back while it still cools: the lead is that from the temperature it has then") {
  // On standby for 30 s, in which it does not get there.
  const double then_c = cooled_c(kWork, 30);
  REQUIRE(then_c > kStandby);
  const double lead = heating_s(then_c, kWork) * 1.10 + 4;
  const auto gap = [&](double length_s) {
    Script s(length_s);
    s.order(0, kStandby).order(30, kWork).wait(length_s, kWork);
    return judged(s);
  };
  CHECK(gap(30 + lead).empty());
  CHECK(gap(30 + lead - slack_s(lead) + 0.01).empty());
  CHECK(gap(30 + lead - slack_s(lead) - 0.01) == "3 preheat-late");
  CHECK(gap(30 + lead + 15) == "3 preheat-early");
}

TEST_CASE("held: over hold_drop_c and 0.7 C more it should have been let go of") {
  // The dip that was possible: cooled for a while, then heated to 200 C for what is left. With
  // both on exponentials, the lowest temperature d is where 100 ln(200/d) + 100 ln((400-d)/200)
  // is the gap's length, that is d = 400 / (1 + exp(length/100)).
  const auto length_of = [](double drop_c) { return 100 * std::log(400 / (kWork - drop_c) - 1); };
  const auto held = [](double length_s, double hold_drop_c) {
    Script s(length_s);
    s.rules.hold_drop_c = hold_drop_c;
    s.wait(length_s, kWork);
    return judged(s);
  };
  CHECK(length_of(20) == Approx(20.067069546215112));  // 100 ln(220/180)
  CHECK(held(length_of(20.7 - 0.01), 20).empty());
  CHECK(held(length_of(20.7 + 0.01), 20) == "99 held-long");
  // Too short to let go of: standby would be over before the lead begins.
  CHECK(held(9, 0).empty());
}

TEST_CASE("held for longer than max_hot_idle_s") {
  const auto held = [](double length_s) {
    Script s(length_s);
    s.rules.hold_drop_c = 500;
    s.gap.max_hot_idle_s = 300;
    s.wait(length_s, kWork);
    return judged(s);
  };
  CHECK(held(300 + slack_s(300) - 0.01).empty());
  CHECK(held(300 + slack_s(300) + 0.01) == "99 hot-idle-limit");
}

TEST_CASE("let go of late: hot for no more than 1.5 s longer than it had to be") {
  // Until it is 5 C above standby, and from there on again.
  const auto late = [](double by_s) {
    Script s(600);
    s.order(by_s, kStandby).order(600 - kLead, kWork).wait(600, kWork);
    return s;
  };
  CHECK(judged(late(1.5 - 0.01)).empty());
  CHECK(judged(late(1.5 + 0.01)) == "99 hot-idle-bound");
  const auto findings = late(20).found();
  REQUIRE(findings.list().size() == 1);
  const double least = cooling_s(kWork, kStandby + 5) + kLead - heating_s(kStandby, kStandby + 5);
  CHECK(findings.list()[0].message ==
        fmt::format(
            "birch: hot for {:.1f} s while parked; off or on standby at once, {:.1f} s would do",
            least + 20, least));
  // Longer than is allowed, too.
  Script s = late(100);
  s.gap.max_hot_idle_s = 200;
  CHECK(judged(s) == "99 hot-idle-bound, 99 hot-idle-limit");
}

TEST_CASE("on standby for longer than off_over_s") {
  const auto gap = [](double length_s) {
    Script s = standby(length_s, kLead);
    s.rules.off_over_s = 500;
    return judged(s);
  };
  // Slack: 1.5 s and 1 % of the gap.
  CHECK(gap((500 + 1.5) / 0.99 - 0.01).empty());
  CHECK(gap((500 + 1.5) / 0.99 + 0.01) == "2 standby-long");
}

TEST_CASE("off in a gap shorter than off_over_s") {
  const auto off = [](double length_s) {
    Script s(length_s);
    s.rules.off_over_s = 500;
    // The moment at which it is as much too cold as the rest of the gap heats: found by halving.
    double low = 0;
    double high = length_s;
    for (int i = 0; i < 100; ++i) {
      const double at = (low + high) / 2;
      const double lead = heating_s(cooled_c(kWork, at), kWork) * 1.10 + 4;
      (at + lead < length_s ? low : high) = at;
    }
    s.order(0, 0).order(low, kWork).wait(length_s, kWork);
    return s;
  };
  CHECK(judged(off((500 - 1.5) / 1.01 + 0.01)).empty());
  CHECK(judged(off((500 - 1.5) / 1.01 - 0.01)) == "2 off-short");
  CHECK(judged(off(5000)).empty());
  // On standby it would be hot for longer than it may be.
  Script hot = off(400);
  hot.gap.max_hot_idle_s = 60;
  CHECK(judged(hot).empty());
}

TEST_CASE("waits: no longer than heating at once would have needed, 1.5 s and 1 % more") {
  // A first use, from cold: nothing shortens that, however early it is commanded.
  const double all = heating_s(0, kWork);
  CHECK(all == Approx(69.314718055994529));  // 100 ln 2
  const auto cold = [&](double waited_s) {
    Script s(10, 0, 0);
    s.gap.to_s = 1010;
    s.gap.fed_s = 1010 + waited_s;
    s.order(0, kWork).wait(10, kWork, waited_s);
    return judged(s);
  };
  const double least = all - 10;
  CHECK(cold(least).empty());
  CHECK(cold(least + slack_s(least) - 0.01).empty());
  CHECK(cold(least + slack_s(least) + 0.01) == "3 wait-bound");
}

TEST_CASE("waits of a gap that is long enough: none but 1.5 s") {
  const auto gap = [](double waited_s) {
    Script s = standby(600, kLead);
    s.gap.commands.back().waited_s = waited_s;
    return judged(s);
  };
  CHECK(gap(1.49).empty());
  CHECK(gap(1.51) == "4 wait-bound");
}

TEST_CASE("targets: off, standby and the working temperature are known, others invented") {
  const auto with_order = [](double target_c) {
    Script s(600);
    s.order(0, target_c);
    const double lead = heating_s(std::max(target_c, cooled_c(kWork, 500)), kWork) * 1.10 + 4;
    s.order(600 - lead, kWork).wait(600, kWork);
    s.rules.policy = rules::Policy::hold;  // the values alone
    return judged(s);
  };
  CHECK(with_order(0).empty());
  CHECK(with_order(kStandby).empty());
  CHECK(with_order(kStandby + 0.01).empty());
  CHECK(with_order(kStandby + 0.02) == "2 invented-target");
  CHECK(with_order(kWork).empty());
  CHECK(with_order(150) == "2 invented-target");
}

TEST_CASE("a target of the job's own in the gap, but for a wait") {
  Script set(600);
  set.order(0, kStandby).order(300, kStandby).by_the_job();
  set.order(600 - kLead, kWork).wait(600, kWork);
  CHECK(judged(set).starts_with("3 set-in-gap"));
  Script waits(600);
  waits.order(0, kStandby).order(600 - kLead, kWork).wait(600, kWork).by_the_job();
  CHECK(judged(waits).empty());
}

TEST_CASE("an exchange: hot for what goes out before it, for what comes in after it") {
  // Out at 200, in at 220: by the select it is 200 C warm, then there are 30 s of exchange.
  const auto exchange = [](double ahead_s) {
    Script s(600);
    s.gap.exchange = true;
    s.gap.work_c = 220;
    s.gap.fed_s = 1630;
    s.order(0, kStandby).order(600 - ahead_s, 220).wait(600, kWork).order(600, 220);
    s.wait(630, 220);
    return judged(s);
  };
  CHECK(heating_s(kStandby, 220) - heating_s(kStandby, kWork) == Approx(10.536051565782628));
  CHECK(exchange(kLead).empty());
  CHECK(exchange(kLead - slack_s(kLead) - 0.01) == "3 preheat-late");
  CHECK(exchange(kLead + 10) == "3 preheat-early");
}

TEST_CASE("other policies are judged by values and waits alone") {
  const auto held = [](rules::Policy policy) {
    Script s(2000);
    s.rules.policy = policy;
    s.wait(2000, kWork);
    return judged(s);
  };
  CHECK(held(rules::Policy::lookahead) == "99 held-long, 99 hot-idle-limit");
  // They keep what they promise: to hold, or to let go by the clock.
  CHECK(held(rules::Policy::hold).empty());
  CHECK(held(rules::Policy::timers).empty());
  CHECK(held(rules::Policy::as_sliced).empty());
}

// -------------------------------------------------------------------------- after the last use

namespace {

std::string judged_last(const Script& s, bool ever_fed = true) {
  check::Findings findings;
  rules::Rules all;
  all.gap = s.rules;
  const check::Surroundings around(all);
  check::judge_last(s.gap, {s.head, 0, s.rules, s.lines, around}, ever_fed, findings);
  return shown(findings);
}

}  // namespace

TEST_CASE("after the last use: off, at once, and that for good") {
  CHECK(judged_last(Script(600).order(0, 0)).empty());
  CHECK(judged_last(Script(600).order(1.5 - 0.01, 0)).empty());
  CHECK(judged_last(Script(600).order(1.5 + 0.01, 0)) == "2 off-late");
  CHECK(judged_last(Script(600)) == "0 left-on");
  CHECK(judged_last(Script(600).order(0, kStandby)) == "2 needless-heat, 0 left-on");
  CHECK(judged_last(Script(600).order(0, 0).order(300, kStandby).order(301, 0)) ==
        "3 needless-heat");
  // Never on: nothing to say.
  CHECK(judged_last(Script(600, 0, 0), false).empty());
}

TEST_CASE("after the last use, as sliced: late is how it was sliced") {
  Script s(600);
  s.order(100, 0);
  s.rules.policy = rules::Policy::as_sliced;
  CHECK(judged_last(s).empty());
}

// ------------------------------------------------------------------- an exchange without parking

TEST_CASE("waits of a mounted toolhead: what is left of the climb after the exchange") {
  // From 200 to 250 C, 10 s of it during the exchange.
  const double least = heating_s(200, 250) - 10;
  CHECK(least == Approx(18.768207245178085));  // 100 ln(4/3) - 10
  const auto mounted = [&](double waited_s) {
    Script s(0);
    s.gap.out_c = 200;
    s.gap.work_c = 250;
    s.order(0, 250).wait(10, 250, waited_s);
    check::Findings findings;
    rules::Rules all;
    all.gap = s.rules;
    const check::Surroundings around(all);
    check::judge_mounted(s.gap, {s.head, 0, s.rules, s.lines, around}, findings);
    return shown(findings);
  };
  CHECK(mounted(least).empty());
  CHECK(mounted(least + slack_s(least) - 0.01).empty());
  CHECK(mounted(least + slack_s(least) + 0.01) == "3 wait-bound");
}

// ------------------------------------------------------------------------------------- long lines

TEST_CASE("where lines end") {
  LongLines lines;
  lines.add(10, 10.99, 1);  // not long
  lines.add(20, 21, 2);
  lines.add(21, 30, 3);
  lines.add(40, 45, 4);  // of one line, one after the other
  lines.add(45, 50, 4);
  for (const auto& [at_s, end_s] : std::vector<std::pair<double, double>>{{0, 0},
                                                                          {10.5, 10.5},
                                                                          {19.99, 19.99},
                                                                          {20, 21},
                                                                          {20.5, 21},
                                                                          {21, 30},
                                                                          {29.99, 30},
                                                                          {30, 30},
                                                                          {35, 35},
                                                                          {40, 50},
                                                                          {45, 50},
                                                                          {50, 50},
                                                                          {51, 51}}) {
    CAPTURE(at_s);
    CHECK(lines.line_end(at_s) == end_s);
  }
}
