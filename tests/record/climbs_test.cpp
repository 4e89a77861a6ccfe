// What climbs tell beyond the constants of a heater: how the drive falls towards the target, and
// how much one heat-up differs from another.
#include <map>

#include "base/statistics.h"
#include "record/calibrate.h"
#include "record_test_help.h"
#include "thermostat.h"

using namespace forewarm;
using namespace forewarm::test;
using namespace forewarm::record;

namespace {

Calibration calibrated(const std::string& text, double reached_c) {
  std::string toml = kOne;
  const std::string heater = "heater = { ";
  if (reached_c > 0) {
    toml.insert(toml.find(heater) + heater.size(),
                "reached_c = " + std::to_string(reached_c) + ", ");
  }
  const rules::Rules rules = rules_of(toml);
  TextSource source(text);
  StretchFinder finder(rules);
  auto summary = record::read(source, rules, {"a.csv", {}}, finder);
  if (!summary) FAIL(render(summary.error()));
  const auto all = calibrate(finder.take(), {.ambient_c = 23});
  REQUIRE(all.size() == 1);
  INFO(all[0].refused);
  REQUIRE(all[0].refused.empty());
  return all[0];
}

const std::vector<Phase> kSixClimbs{{0, 20},  {215, 300}, {0, 200}, {210, 300},
                                    {0, 300}, {220, 300}, {0, 150}, {200, 300},
                                    {0, 400}, {215, 300}, {0, 250}, {205, 200}};

// Climbs of such strengths, between cool-downs.
std::vector<Phase> climbs_of(const std::vector<double>& strengths) {
  std::vector<Phase> out{{0, 20}};
  for (const double strength : strengths) {
    out.push_back({215, 300, strength});
    out.push_back({0, 400});
  }
  return out;
}

std::vector<double> spread_strengths(std::size_t count, double sd, unsigned seed) {
  Dice dice(seed);
  std::vector<double> out;
  for (std::size_t i = 0; i < count; ++i) {
    double normal = -6;
    for (int k = 0; k < 12; ++k) normal += dice.between(0, 1);
    out.push_back(1 + sd * normal);
  }
  return out;
}

}  // namespace

TEST_CASE("climbs: approach_c is what makes them take as long as they took") {
  for (const double band_c : {6.0, 12.0, 20.0}) {
    CAPTURE(band_c);
    Machine m;
    m.band_c = band_c;
    m.dead_s = 0;
    const std::string text = kHead + record_of(m, kSixClimbs, 0.5, 3, 0.1, row);
    const Calibration c = calibrated(text, 1);
    CHECK(c.climbs == 6);
    REQUIRE(c.approach_c.has_value());
    CHECK(c.approach_c->value == Approx(band_c).epsilon(0.08));
    CHECK(c.approach_c->sd > 0);
    CHECK(c.approach_c->sd < 0.5);
    // It is a key for a rule file that says what is reached, with the climbs behind it.
    const auto told = told_keys(c, 1);
    CHECK(told.back().key == std::string("approach_c"));
    CHECK(told.back().observations == 6);
  }
}

TEST_CASE("climbs: four of them tell no approach_c") {
  Machine m;
  m.band_c = 12;
  m.dead_s = 0;
  const std::vector<Phase> few(kSixClimbs.begin(), kSixClimbs.begin() + 9);
  const Calibration c = calibrated(kHead + record_of(m, few, 0.5, 3, 0.1, row), 1);
  CHECK(c.climbs == 0);
  // What the drive says of it is shown, and is no key for a rule file.
  for (const ToldKey& told : told_keys(c, 1)) CHECK(told.key != std::string("approach_c"));
}

TEST_CASE("climbs: a heater that is at full drive to the end has next to no approach_c") {
  Machine m;
  m.band_c = 0.01;
  m.dead_s = 0;
  const Calibration c = calibrated(kHead + record_of(m, kSixClimbs, 0.5, 3, 0.1, row), 1);
  CHECK(c.climbs == 6);
  // Readings lie half a second apart, in which it climbs by a degree.
  if (c.approach_c) CHECK(c.approach_c->value < 2.5);
}

TEST_CASE("climbs: how much heat-ups differ is told apart from the noise of their readings") {
  for (const double sd : {0.0, 0.02, 0.05}) {
    for (const unsigned seed : {1U, 2U, 3U}) {
      CAPTURE(sd, seed);
      const auto strengths = spread_strengths(10, sd, seed);
      const std::string text =
          kHead + record_of(Machine(), climbs_of(strengths), 1, seed, 0.5, row);
      const Calibration c = calibrated(text, 0);
      REQUIRE(c.rise_spread.has_value());
      CHECK(c.rise_spread->heat_ups == 10);
      CHECK(c.rise_spread->share == Approx(moments(strengths).sd).margin(0.004));
    }
  }
}

TEST_CASE("climbs: one alone, or without a drive that is known, says nothing of others") {
  const auto strengths = spread_strengths(8, 0.05, 4);
  const auto targets_alone = [](const Machine& m, double target_c, double noise_c) {
    char line[100];
    std::snprintf(line, sizeof line, "%.2f,%.2f,%.1f\n", m.now_s, m.temp_c + noise_c, target_c);
    return std::string(line);
  };
  const std::string known = kHead + record_of(Machine(), climbs_of({1.0}), 1, 1, 0.5, row);
  CHECK_FALSE(calibrated(known, 0).rise_spread.has_value());
  const std::string taken = "time_s,temp_c,target_c\n" +
                            record_of(Machine(), climbs_of(strengths), 1, 1, 0.5, targets_alone);
  CHECK_FALSE(calibrated(taken, 0).rise_spread.has_value());
}

TEST_CASE(
    "climbs: a wait is that of the heater that its change waits for, where the job is known") {
  const std::string log =
      "[0] ok T0:170 /215 T1:170 /210\n[1] forewarm 4 there\n"
      "[2] ok T0:171 /215 T1:195 /210\n[5] ok T0:180 /215 T1:210.5 /210\n"
      "[9] ok T0:215.5 /215 T1:210.5 /210\n[10] forewarm 4 ready\n";
  const rules::Rules rules = rules_of(kThree);
  const auto settles = [&](std::optional<std::map<std::uint64_t, std::size_t>> heads) {
    StretchFinder finder(rules);
    if (heads) finder.expect(*heads);
    TextSource source(log);
    REQUIRE(record::read(source, rules, {"a.log", {}}, finder).ok());
    std::string out;
    for (const HeaterStretches& h : finder.take()) {
      for (const double s : h.settles_s) out += h.heater.name + ' ' + std::to_string(int(s)) + ' ';
    }
    return out;
  };
  CHECK(settles(std::map<std::uint64_t, std::size_t>{{4, 1}, {9, 0}}) == "birch 5 ");
  CHECK(settles(std::map<std::uint64_t, std::size_t>{{4, 0}}) == "ash 1 ");
  CHECK(settles(std::map<std::uint64_t, std::size_t>{{4, 2}, {3, 0}}).empty());
  CHECK(settles(std::map<std::uint64_t, std::size_t>{}).empty());
  // Either may have been waited for.
  CHECK(settles(std::nullopt).empty());
}
