// How early a heater is told: the equation that the lead solves, and the share of
// uses that are on time when errors are drawn.
#include "plan/lead_time.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "base/statistics.h"

using namespace forewarm;
using plan::LeadTimeModel;

namespace {

const thermal::Hotend kHotend{50, 450, 180, 2, 23};

rules::GapSettings of(double on_time, double time_error, double heater_error) {
  rules::GapSettings gap;
  gap.on_time = on_time;
  gap.time_error = time_error;
  gap.heater_error = heater_error;
  return gap;
}

}  // namespace

TEST_CASE("the lead solves its equation") {
  std::mt19937 random(4);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int i = 0; i < 2000; ++i) {
    const rules::GapSettings gap =
        of(0.5 + 0.4999 * unit(random), 0.1 * unit(random), 0.1 * unit(random));
    const LeadTimeModel margin(gap);
    const double from = 23 + 180 * unit(random);
    const double to = from + 1 + 100 * unit(random);
    const double heat = thermal::seconds_to_heat(kHotend, from, to);
    const double changes = unit(random) < 0.5 ? 0 : 0.8 * heat * unit(random);
    const double variance = changes > 0 ? 20 * unit(random) : 0;
    const double lead = margin.lead_s(kHotend, from, false, to, changes, variance);
    const double spread =
        plan::heat_spread_s(kHotend, from, to, gap.heater_error, normal_quantile(gap.on_time));
    const double moving = lead - changes;
    const double sigma =
        std::sqrt(std::pow(gap.time_error * moving, 2) + variance + spread * spread);
    REQUIRE(moving >= 0);
    CHECK(lead == Approx(heat + normal_quantile(gap.on_time) * sigma).epsilon(1e-9));
  }
}

TEST_CASE("no errors and no margin, plain leads as they say, and some never enough") {
  const double heat = thermal::seconds_to_heat(kHotend, 170, 215);
  CHECK(LeadTimeModel(of(0.99, 0, 0)).lead_s(kHotend, 170, false, 215, 0, 0) == Approx(heat));
  CHECK(LeadTimeModel(of(0.5, 0.1, 0.1)).lead_s(kHotend, 170, false, 215, 10, 9) == Approx(heat));
  CHECK(LeadTimeModel(of(0.99, 0.03, 0.05)).lead_s(kHotend, 170, false, 460, 0, 0) ==
        std::numeric_limits<double>::infinity());
  rules::GapSettings gap;
  gap.lead_stretch = 0.25;
  CHECK(LeadTimeModel(gap).lead_s(kHotend, 170, false, 215, 10, 9) == Approx(heat * 1.25 + 4));
  gap.lead_extra_s = 0;
  CHECK(LeadTimeModel(gap).lead_s(kHotend, 170, false, 215, 0, 0) == Approx(heat * 1.25));
  gap.lead_stretch.reset();
  CHECK(LeadTimeModel(gap).lead_s(kHotend, 170, false, 215, 0, 0) == Approx(heat * 1.1));
}

TEST_CASE("errors of time that no lead makes good are bounded, and it is said") {
  const double heat = thermal::seconds_to_heat(kHotend, 170, 215);
  double before = 0;
  for (const double error : {0.0, 0.1, 0.2, 0.3, 0.43, 0.45, 0.6, 1.0, 5.0}) {
    INFO(error);
    const rules::GapSettings gap = of(0.99, error, 0);
    const double lead = LeadTimeModel(gap).lead_s(kHotend, 170, false, 215, 0, 0);
    CHECK(lead >= before);
    CHECK(lead <= 2 * heat + 1e-9);
    // 2.3263 standard deviations: 0.215 of the time is half of it.
    CHECK(plan::bounded_lead(gap).empty() == (error < 0.215));
    CHECK((lead == Approx(2 * heat)) == (error > 0.215));
    // Changes are as sure as the rules say they are, whatever moving is.
    const double with_changes = LeadTimeModel(gap).lead_s(kHotend, 170, false, 215, heat / 2, 4);
    CHECK(with_changes <= 2 * heat + 3 * 2.33 * 2);
    before = lead;
  }
  CHECK(plan::bounded_lead(of(0.999, 0.4, 0)) ==
        "time_error = 0.4 with on_time = 0.999 asks for leads out of all proportion: errors of "
        "time add as much as heating takes, and no more");
  // Plain leads ask for nothing of the kind.
  rules::GapSettings plain = of(0.999, 0.4, 0);
  plain.lead_extra_s = 3;
  CHECK(plan::bounded_lead(plain).empty());
}

TEST_CASE("a heater that is weaker takes so much longer") {
  // Two standard deviations of 5 % less than 427 C above ambient: 407.3 C at full drive.
  thermal::Hotend weak = kHotend;
  weak.full_drive_c = 23 + 427 * 0.9;
  const double more =
      thermal::seconds_to_heat(weak, 170, 215) - thermal::seconds_to_heat(kHotend, 170, 215);
  CHECK(plan::heat_spread_s(kHotend, 170, 215, 0.05, 2) == Approx(more / 2));
  // Of one that hardly gets there it is bounded.
  CHECK(std::isfinite(plan::heat_spread_s(kHotend, 170, 440, 0.5, 2)));
  CHECK(plan::heat_spread_s(kHotend, 215, 215, 0.05, 2) == 0);
}

TEST_CASE("of uses with drawn errors, the share that was asked for is on time") {
  std::mt19937 random(11);
  std::normal_distribution<double> normal(0, 1);
  for (const double on_time : {0.9, 0.99}) {
    for (const double from : {23.0, 170.0, 200.0}) {
      const rules::GapSettings gap = of(on_time, 0.03, 0.05);
      const double exchange_s = 33;
      const double variance = plan::variance_of(gap, true, true, true);
      const double lead = LeadTimeModel(gap).lead_s(kHotend, from, false, 215, 0, 0);
      const double with_exchange = LeadTimeModel(gap).lead_s(kHotend, from, false, 215,
                                                             std::min(lead, exchange_s), variance);
      constexpr int kDraws = 100'000;
      int late = 0;
      int late_with = 0;
      for (int i = 0; i < kDraws; ++i) {
        thermal::Hotend hotend = kHotend;
        hotend.full_drive_c = 23 + 427 * (1 + 0.05 * normal(random));
        const double heat = thermal::seconds_to_heat(hotend, from, 215);
        const double share = 1 + 0.03 * normal(random);
        late += int(heat > lead * share);
        const double changes = std::min(lead, exchange_s);
        const double drawn = changes + std::sqrt(variance) * normal(random);
        late_with += int(heat > (with_exchange - changes) * share + drawn);
      }
      INFO("on time " << on_time << " from " << from << " C");
      // Of several errors, none is at its worst when all are: a little more than asked for.
      for (const double of_late : {late / double(kDraws), late_with / double(kDraws)}) {
        CHECK(of_late <= (1 - on_time) * 1.15);
        CHECK(of_late >= (1 - on_time) * 0.4);
      }
    }
  }
}
