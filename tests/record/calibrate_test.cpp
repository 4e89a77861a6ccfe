#include "record/calibrate.h"

#include <cmath>
#include <fstream>
#include <functional>
#include <iterator>
#include <sstream>

#include "record_test_help.h"
#include "thermostat.h"

using namespace forewarm;
using namespace forewarm::test;
using namespace forewarm::record;

namespace {

std::vector<Calibration> calibrated(const std::string& text, const CalibrateOptions& options,
                                    const std::string& name = "a.csv",
                                    const std::string& rules = kOne) {
  TextSource source(text);
  StretchFinder finder;
  auto summary = record::read(source, rules_of(rules), {name, {}}, finder);
  if (!summary) FAIL(render(summary.error()));
  return calibrate(finder.take(), options);
}

Calibration one_of(const std::string& text, const CalibrateOptions& options = {.ambient_c = 23},
                   const std::string& name = "a.csv") {
  const auto all = calibrated(text, options, name);
  REQUIRE(all.size() == 1);
  return all[0];
}

void check_constants(const Calibration& c, const Machine& m, double share, double dead_s) {
  CAPTURE(c.refused);
  CHECK(c.full_drive_c.value == Approx(m.full_c).epsilon(share));
  CHECK(c.time_constant_s.value == Approx(m.tau_s).epsilon(share));
  CHECK(std::abs(c.dead_time_s.value - m.dead_s) < dead_s);
}

}  // namespace

TEST_CASE("calibrate: heat-ups and cool-downs of a thermostat's record, found and fitted") {
  const Machine m;
  const Calibration c = one_of(kHead + record_of(m, kUpAndDown, 1, 1, 0.3, row));
  check_constants(c, m, 0.01, 0.5);
  CHECK(c.heat_ups == 3);
  CHECK(c.cool_downs == 2);
  CHECK(c.rms_c == Approx(0.3).epsilon(0.15));
  CHECK(c.samples < c.samples_in_all);
  CHECK(c.heater.name == "ash");
  CHECK_FALSE(c.unlike);
  CHECK(c.cool_time_constant_s->value == Approx(180).epsilon(0.01));
  CHECK(c.approach_c->value == Approx(6).epsilon(0.15));
  CHECK_FALSE(c.settle_s);
  CHECK(c.notes.empty());
}

TEST_CASE("calibrate: under 0.5 C of noise, within 3 %, the dead time within 1 s, over 100 seeds") {
  for (unsigned seed = 0; seed < 100; ++seed) {
    Dice dice(seed);
    Machine m;
    m.full_c = dice.between(350, 600);
    m.tau_s = m.cool_tau_s = dice.between(100, 250);
    m.dead_s = dice.between(0.5, 6);
    m.ambient_c = m.temp_c = dice.between(18, 28);
    const Calibration c =
        one_of(kHead + record_of(m, kUpAndDown, dice.between(0.5, 1.5), seed, 0.5, row),
               {.ambient_c = m.ambient_c});
    CAPTURE(seed, m.full_c, m.tau_s, m.dead_s, c.dead_time_s.value);
    check_constants(c, m, 0.03, 1);
  }
}

TEST_CASE("calibrate: ambient is found where it is asked for") {
  Machine m;
  m.ambient_c = m.temp_c = 31;
  const Calibration c = one_of(kHead + record_of(m, kUpAndDown, 1, 2, 0.3, row), {});
  check_constants(c, m, 0.02, 0.5);
  CHECK(c.ambient_c.value == Approx(31).margin(0.3));
  CHECK(c.ambient_c.sd > 0);
}

TEST_CASE("calibrate: steps of 0.3 C, and of a whole degree") {
  const Machine m;
  for (const double step_c : {0.3, 1.0}) {
    const auto coarse = [&](const Machine& now, double target_c, double noise_c) {
      Machine shown = now;
      shown.temp_c = std::round((now.temp_c + noise_c) / step_c) * step_c;
      return row(shown, target_c, 0);
    };
    check_constants(one_of(kHead + record_of(m, kUpAndDown, 1, 3, 0.1, coarse)), m, 0.02, 0.7);
  }
}

TEST_CASE("calibrate: a heater that cools faster than it heats has two time constants") {
  Machine m;
  m.cool_tau_s = 130;
  const Calibration c = one_of(kHead + record_of(m, kUpAndDown, 1, 4, 0.2, row));
  check_constants(c, m, 0.03, 0.5);
  CHECK(c.unlike);
  CHECK(c.cool_time_constant_s->value == Approx(130).epsilon(0.02));
  CHECK(c.notes.back().starts_with("It does not cool as it heats"));
}

TEST_CASE("calibrate: with targets alone, drive is taken as full until the target is reached") {
  Machine m;
  m.band_c = 0.5;
  const auto shown = [](const Machine& now, double target_c, double noise_c) {
    char line[60];
    std::snprintf(line, sizeof line, "%.2f,%.2f,%.1f\n", now.now_s, now.temp_c + noise_c, target_c);
    return std::string(line);
  };
  const Calibration c =
      one_of("time_s,temp_c,target_c\n" + record_of(m, kUpAndDown, 1, 5, 0.2, shown));
  check_constants(c, m, 0.02, 0.7);
  CHECK(c.heat_ups >= 2);  // from a hold, what drive there was is not known
  REQUIRE(c.notes.size() == 1);
  CHECK(
      c.notes[0] ==
      "The record has no drive: it is taken as full from when a target is given until it is first "
      "reached. The values are less certain than they look.");
}

TEST_CASE("calibrate: a host's log, read every two seconds, tells the same") {
  Machine m;
  m.by_rows = false;
  const auto shown = [](const Machine& now, double target_c, double noise_c) {
    char line[160];
    const int s = int(now.now_s);
    std::snprintf(line, sizeof line, "23:%02d:%06.3f < ok T0:%.1f /%.1f @0:%d\n",
                  50 + s / 60 > 59 ? (s / 60 - 10) % 60 : 50 + s / 60, now.now_s - 60.0 * (s / 60),
                  now.temp_c + noise_c, target_c, int(now.drive * 127));
    std::string out = line;
    if (s / 60 >= 10) out.replace(0, 2, "00");
    return out;
  };
  const Calibration c =
      one_of(record_of(m, kUpAndDown, 2, 6, 0.3, shown), {.ambient_c = 23}, "a.log");
  check_constants(c, m, 0.02, 1);
  CHECK(c.approach_c->value == Approx(6).epsilon(0.25));
}

TEST_CASE("calibrate: how long a wait goes on after the target is reached, by the echoes") {
  Machine m;
  m.by_rows = false;
  bool there = false, ready = false;
  double reached_s = 0;
  const auto shown = [&](const Machine& now, double target_c, double noise_c) {
    char line[160];
    std::string out;
    std::snprintf(line, sizeof line, "%.2f T0:%.1f /%.1f @0:%d\n", now.now_s, now.temp_c + noise_c,
                  target_c, int(now.drive * 127));
    out += line;
    const auto say = [&](const char* what) {
      std::snprintf(line, sizeof line, "%.2f forewarm 1 %s\n", now.now_s, what);
      out += line;
    };
    if (!there && now.now_s > 30) {
      there = true;
      say("there");
    }
    if (reached_s == 0 && now.temp_c >= 215) reached_s = now.now_s;
    if (!ready && reached_s > 0 && now.now_s > reached_s + 9) {
      ready = true;
      say("ready");
    }
    return out;
  };
  Machine quick = m;
  quick.band_c = 0.2;
  quick.full_c = 460;
  const Calibration c = one_of(record_of(quick, {{0, 20}, {215.5, 400}, {0, 500}}, 1, 7, 0, shown),
                               {.ambient_c = 23}, "a.log");
  CAPTURE(c.refused);
  REQUIRE(c.settle_s);
  // The target itself is reached a little after 215 C.
  CHECK(c.settle_s->value > 4);
  CHECK(c.settle_s->value <= 10.5);
}

TEST_CASE("calibrate: what was warm before it was asked for says nothing of waits") {
  // Reached between two samples, with `there` between them as well.
  std::string log;
  double temp_c = 100;
  for (int t = 0; t < 60; ++t, temp_c += 2.5) {
    log += fmt::format("[{}.0] ok T0:{:.1f} /215.0 @0:127\n", t, temp_c);
    if (t == 45) log += "[45.6] forewarm 3 there\n[46.1] forewarm 3 ready\n";
  }
  const Calibration c = one_of(log, {.ambient_c = 23}, "a.log");
  CHECK_FALSE(c.settle_s);
}

TEST_CASE("calibrate: a record that begins in the middle of a heat-up") {
  const Machine m;
  const std::string whole = record_of(m, kUpAndDown, 1, 9, 0.1, row);
  for (const double from_s : {40.0, 60.0, 80.0}) {
    std::string text = kHead;
    std::istringstream lines(whole);
    for (std::string line; std::getline(lines, line);) {
      if (std::stod(line) >= from_s) text += line + '\n';
    }
    const Calibration c = one_of(text, {.ambient_c = 23});
    CAPTURE(from_s, c.refused, c.full_drive_c.value, c.time_constant_s.value, c.dead_time_s.value);
    check_constants(c, m, 0.01, 0.7);
    CHECK_FALSE(c.unlike);
  }
}

TEST_CASE("calibrate: samples far apart make the dead time uncertain by as much") {
  const Machine m;
  const Calibration fine =
      one_of(kHead + record_of(m, kUpAndDown, 1, 5, 0.1, row), {.ambient_c = 23});
  const Calibration coarse =
      one_of(kHead + record_of(m, kUpAndDown, 5, 5, 0.1, row), {.ambient_c = 23});
  const auto dead_sd = [](const Calibration& c) { return told_keys(c, 0)[2].value.sd; };
  REQUIRE(told_keys(coarse, 0)[2].key == std::string("dead_time_s"));
  CHECK(fine.step_s == Approx(1).margin(0.1));
  CHECK(coarse.step_s == Approx(5).margin(0.5));
  CHECK(dead_sd(fine) < 0.4);
  CHECK(dead_sd(coarse) > 1.3);
  CHECK(std::abs(coarse.dead_time_s.value - m.dead_s) < 3 * dead_sd(coarse));
  const std::string note = "Samples are 5 s apart: the dead time is known no better than that.";
  CHECK(std::count(coarse.notes.begin(), coarse.notes.end(), note) == 1);
  CHECK(std::count(fine.notes.begin(), fine.notes.end(), note) == 0);
}

TEST_CASE("calibrate: several heaters, each by itself") {
  Machine a, b;
  b.full_c = 520;
  b.tau_s = b.cool_tau_s = 140;
  const auto named = [](const std::string& name) {
    return [name](const Machine& m, double target_c, double noise_c) {
      return name + ',' + row(m, target_c, noise_c);
    };
  };
  // One after the other in the file, on one clock each: parts, as the clock goes back between them.
  const std::string text = "heater," + kHead + record_of(a, kUpAndDown, 1, 8, 0.3, named("ash")) +
                           record_of(b, kUpAndDown, 1, 9, 0.3, named("2"));
  const auto all = calibrated(text, {.ambient_c = 23}, "a.csv", kThree);
  REQUIRE(all.size() == 2);
  check_constants(all[0], a, 0.02, 0.5);
  check_constants(all[1], b, 0.02, 0.5);
  CHECK(all[1].heater.name == "cedar");
  CHECK(all[1].heater.head == 2U);
}

TEST_CASE("calibrate: memory is bounded, however long the record is") {
  const Machine m;
  std::vector<Phase> phases;
  for (int i = 0; i < 40; ++i) phases.insert(phases.end(), {{215.0 + i % 5, 200}, {0, 400}});
  const std::string text = kHead + record_of(m, phases, 0.05, 10, 0.3, row);
  TextSource source(text);
  StretchFinder finder;
  REQUIRE(record::read(source, rules_of(kOne), {"a.csv", {}}, finder));
  const auto found = finder.take();
  REQUIRE(found.size() == 1);
  CHECK(found[0].samples > 200000);
  CHECK(found[0].heat_ups.size() == kMostStretches);
  CHECK(found[0].cool_downs.size() == kMostStretches);
  for (const auto* list : {&found[0].heat_ups, &found[0].cool_downs}) {
    for (const Found& f : *list) CHECK(f.stretch.readings.size() <= kMostReadings);
  }
  check_constants(calibrate(found, {.ambient_c = 23})[0], m, 0.01, 0.5);
}

TEST_CASE("calibrate: outliers, with --robust") {
  const Machine m;
  Dice dice(11);
  const auto odd = [&](const Machine& now, double target_c, double noise_c) {
    return row(now, target_c, noise_c + (dice.chance(0.04) ? 30 : 0));
  };
  const std::string text = kHead + record_of(m, kUpAndDown, 0.7, 11, 0.3, odd);
  const Calibration c = one_of(text, {.ambient_c = 23, .robust = true});
  check_constants(c, m, 0.03, 1);
}

TEST_CASE("calibrate: a fan that is switched on midway spoils neither climb nor cool-down") {
  // In the last third of a heat-up, and after 60 s of a cool-down.
  for (const bool while_heating : {true, false}) {
    Machine m;
    m.full_c = 380;
    std::string text = kHead;
    Dice dice(13);
    double target_c = 0;
    for (double next_s = 0; m.now_s < 1500;) {
      const double t = std::fmod(m.now_s, 750);
      target_c = t < 10 || t > 250 ? 0 : 230;
      const bool fan = while_heating ? t > 110 && t < 250 : t > 310 && m.now_s > 750;
      // With it, heat is lost faster: full drive ends lower, sooner.
      m.tau_s = m.cool_tau_s = fan ? 120 : 180;
      m.full_c = fan ? 23 + (380 - 23) * 120.0 / 180 : 380;
      if (m.now_s >= next_s) {
        m.acts = true;
        m.drive = m.wanted(target_c);
        text += row(m, target_c, dice.between(-0.3, 0.3));
        next_s += 1;
      }
      m.step(target_c);
    }
    const Calibration c = one_of(text);
    CAPTURE(while_heating, c.refused, c.notes.size());
    Machine without;
    without.full_c = 380;
    check_constants(c, without, 0.03, 1);
    REQUIRE_FALSE(c.notes.empty());
    CHECK(c.notes.front().find("something changed midway") != std::string::npos);
  }
}

TEST_CASE("calibrate: what a record cannot tell is refused, with the reason") {
  const Machine m;
  struct Case {
    std::string text, why;
  };
  const auto without = [&](const std::string& head, const std::vector<Phase>& phases,
                           const Shown& shown) {
    return head + record_of(m, phases, 1, 12, 0.1, shown);
  };
  const Shown bare = [](const Machine& now, double, double) {
    return std::to_string(now.now_s) + ',' + std::to_string(now.temp_c) + '\n';
  };
  for (const Case& c : {
           Case{kHead + "0,23,0,0\n1,23,0,0\n",
                "there are only 2 samples of it, and 20 are needed"},
           Case{without("time_s,temp_c\n", kUpAndDown, bare),
                "the record has neither its drive nor its target, so when it was heated is not "
                "known"},
           Case{without(kHead, {{0, 100}}, row), "it was never driven"},
           Case{without(kHead, {{0, 20}, {35, 100}, {0, 100}}, row),
                "no heat-up or cool-down of it spans 20 C; the widest spans 13 C"},
       }) {
    CHECK(one_of(c.text).refused == c.why);
  }
  CHECK(one_of(kHead + record_of(m, kUpAndDown, 10, 12, 0.1, row))
            .refused.starts_with(
                "its heat-ups have too few samples: 20 are needed, and the longest has 1"));
  // A short climb is almost straight.
  const auto climb =
      without(kHead, {{0, 10}, {75, 40}},
              [](const Machine& now, double t, double n) { return row(now, t, 20 * n); });
  CHECK(one_of(climb).refused ==
        "there is no cool-down, and the heat-ups are too straight to tell a time constant");
}

// Two step tests of a small heater, measured (the data beside the sources). SciPy's least_squares
// gives the figures, unweighted, all rows.
TEST_CASE("calibrate: measured step tests, from the record on") {
  struct Step {
    const char* file;
    double share, start_c, rise_c, tau_s, dead_s, rms_c;
  };
  for (const Step& step :
       {Step{"step_full_drive.csv", 1, 22.157, 32.949, 155.58, 19.54, 0.2871},
        Step{"step_half_drive.csv", 0.5, 23.396, 41.790, 150.45, 27.59, 0.3257}}) {
    std::ifstream in(std::string(FOREWARM_DATA) + '/' + step.file);
    if (!in) {
      WARN("skipped: " << step.file << " is not there");
      continue;
    }
    std::string text{std::istreambuf_iterator<char>(in), {}};
    text.replace(0, text.find('\n'), "row,time_s,drive_percent,temp_c,neighbour");
    const Calibration c = one_of(text, {});
    REQUIRE(c.refused.empty());
    CHECK(c.ambient_c.value == Approx(step.start_c).epsilon(0.01));
    CHECK(c.full_drive_c.value - c.ambient_c.value ==
          Approx(step.rise_c / step.share).epsilon(0.01));
    CHECK(c.time_constant_s.value == Approx(step.tau_s).epsilon(0.01));
    CHECK(c.dead_time_s.value == Approx(step.dead_s).epsilon(0.01));
    CHECK(c.rms_c <= step.rms_c + 0.00005);
    CHECK(c.samples == c.samples_in_all);
  }
}
