// What a hotend does besides the plain first order: cooling with a time constant of its own, the
// drive that falls near its target, settling. Against published values, a general-purpose
// integrator, and what must hold of any closed form.
#include "help/dice.h"
#include "thermal/hotend.h"

#include <algorithm>
#include <array>
#include <boost/numeric/odeint.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

namespace forewarm::thermal {
namespace {

constexpr double kNever = std::numeric_limits<double>::infinity();

Approx within(double tolerance, double value) { return Approx(value).epsilon(0).margin(tolerance); }
Approx exactly(double value) { return within(1e-9, value); }

// Within 20 C of 200 C its time constant is 100/(1 + 200/20) s; holding 200 C takes 20 W.
Hotend soft_hotend() {
  return {.power_w = 40,
          .full_drive_c = 400,
          .time_constant_s = 100,
          .dead_time_s = 10,
          .ambient_c = 0,
          .approach_c = 20,
          .reached_c = 1};
}
constexpr double kApproachS = 100.0 / 11;

class Dice : public test::Dice {
 public:
  using test::Dice::Dice;
  Hotend hotend() {
    Hotend h{.power_w = between(25, 80),
             .full_drive_c = between(340, 600),
             .time_constant_s = between(60, 300),
             .dead_time_s = chance(0.2) ? 0 : between(0, 8),
             .ambient_c = between(10, 45)};
    if (chance(0.6)) h.cool_time_constant_s = h.time_constant_s * between(0.4, 2.5);
    if (chance(0.7)) h.approach_c = between(1, 40);
    if (h.approach_c > 0 || chance(0.3)) h.reached_c = between(0.1, 3);
    if (chance(0.5)) h.settle_s = between(0.1, 15);
    return h;
  }
};

// Cengel, Heat Transfer, example 4-1: with the exponent 0.463235294 1/s, 1 % of a change is left
// after 10 s (printed). Status: digits from memory. A proportional controller of gain 9 makes a
// tenth of the time constant: what is left within approach_c falls as that does.
TEST_CASE("near the target what is left falls as the handbook's thermocouple's does") {
  const double junction_s = 1 / 0.463235294;
  const Hotend h{.power_w = 1,
                 .full_drive_c = 1000,
                 .time_constant_s = 10 * junction_s,
                 .dead_time_s = 0,
                 .ambient_c = 0,
                 .approach_c = 100,
                 .reached_c = 1};
  CHECK(h.approach_s(100) == exactly(junction_s));
  CHECK(seconds_to_heat(h, 0, 100) == within(1e-5, 9.94132));
}

// Newton's law of cooling, a common teaching problem (no one source): in 35 °F something falls from
// 165 to 150 °F in 10 min, and is at 70 °F after 107.0279 min. How it is heated does not matter.
TEST_CASE("cooling has its own time constant") {
  const Hotend cup{.power_w = 1,
                   .full_drive_c = 500,
                   .time_constant_s = 7,
                   .dead_time_s = 3,
                   .ambient_c = 35,
                   .cool_time_constant_s = 10 / std::log((165.0 - 35) / (150.0 - 35))};
  CHECK(seconds_to_cool(cup, 165, 150) == exactly(10));
  CHECK(seconds_to_cool(cup, 165, 70) == within(1e-4, 107.0279));
  CHECK(cooled_c(cup, 165, 10) == exactly(150));
  HeaterState course(cup, 165);
  course.advance(10);
  CHECK(course.temperature_c() == exactly(150));
  CHECK(course.seconds_until_cool(70) == within(1e-4, 97.0279));
  // In the dead time it goes on as before; then it climbs by the other.
  const double coldest_c = cooled_c(cup, 150, 3);
  CHECK(seconds_to_heat(cup, 150, 200) == exactly(3 + 7 * std::log((500 - coldest_c) / 300)));
}

TEST_CASE("full drive ends short of the target, and the target is reached short of it") {
  const Hotend h = soft_hotend();
  const double to_band_s = 100 * std::log(300.0 / 220);
  CHECK(seconds_to_heat_held(h, 100, 200) ==
        exactly(10 + to_band_s + kApproachS * std::log(20.0 / 1)));
  CHECK(seconds_to_heat_held(h, 190, 200) == exactly(10 + kApproachS * std::log(10.0)));
  CHECK(seconds_to_heat_held(h, 199, 200) == 0);
  CHECK(seconds_to_heat(h, 199.5, 200) > 10);  // the dead time takes it out of reach
  CHECK(seconds_to_heat(h, 100, 402) == kNever);

  HeaterState course(h, 100);
  course.set_target(100);
  course.set_target(200);
  CHECK(course.full_drive());
  CHECK(course.full_drive_s() == exactly(10 + to_band_s));
  const HeaterUsage climb = course.advance(10 + to_band_s);
  CHECK(course.temperature_c() == exactly(180));
  CHECK_FALSE(course.full_drive());
  CHECK(course.full_drive_s() == 0);
  CHECK(climb.full_drive_s == exactly(10 + to_band_s));
  CHECK(climb.energy_j == exactly(40 * (10 + to_band_s)));

  // From 40 W to 20 W over 20 C: a watt for each degree that is left.
  const double to_reach_s = kApproachS * std::log(20.0);
  const HeaterUsage approach = course.advance(to_reach_s);
  CHECK(course.temperature_c() == exactly(199));
  CHECK(course.seconds_until_warm(200) == 0);
  CHECK(course.seconds_until_at(199.9) == exactly(kApproachS * std::log(10.0)));
  CHECK(approach.energy_j == exactly(20 * to_reach_s + kApproachS * 19));
  CHECK(approach.full_drive_s == 0);
  course.advance(1000);
  CHECK(course.temperature_c() == 200);
}

TEST_CASE("a small rise of the target is no full drive") {
  HeaterState course(soft_hotend(), 190);
  course.set_target(190);
  course.set_target(200);
  CHECK_FALSE(course.full_drive());
  const HeaterUsage dead = course.advance(10);
  CHECK(course.temperature_c() == 190);
  CHECK(dead.energy_j == exactly(30 * 10));
  CHECK(dead.full_drive_s == 0);
}

TEST_CASE("undriven, the dead time may take it out of approach_c, into full drive") {
  HeaterState course(soft_hotend(), 185);
  course.set_target(200);
  CHECK_FALSE(course.full_drive());
  const double in_band_s = 100 * std::log(185.0 / 180);
  const HeaterUsage dead = course.advance(10);
  CHECK(course.temperature_c() == exactly(185 * std::exp(-0.1)));
  CHECK(dead.full_drive_s == exactly(10 - in_band_s));
}

TEST_CASE("a heater that is there has a dead time before it goes on to the next target") {
  HeaterState course(soft_hotend(), 100);
  course.set_target(200);
  course.advance(course.seconds_until_warm(200));
  CHECK(course.temperature_c() == exactly(199));
  course.set_target(250);
  course.advance(10);
  CHECK(course.temperature_c() == exactly(199));
  course.advance(1);
  CHECK(course.temperature_c() > 199.5);
}

TEST_CASE("a wait that follows heating is over once the heater has settled") {
  Hotend h = soft_hotend();
  h.settle_s = 6;
  const double to_reach_s = 10 + 100 * std::log(300.0 / 220) + kApproachS * std::log(20.0);
  HeaterState course(h, 100);
  course.set_target(100);
  course.set_target(200);
  CHECK(course.seconds_until_warm(200) == exactly(to_reach_s + 6));
  CHECK(course.seconds_until_warm(200, false) == exactly(to_reach_s));
  CHECK(seconds_to_heat_held(h, 100, 200) == exactly(to_reach_s + 6));

  SECTION("which it does whether it is waited for or not") {
    course.advance(to_reach_s + 4);
    CHECK(course.seconds_until_warm(200) == exactly(2));
    course.set_target(200);
    CHECK(course.seconds_until_warm(200) == exactly(2));
    course.advance(2);
    CHECK(course.seconds_until_warm(200) == 0);
  }
  SECTION("anew with a target that is higher") {
    course.advance(to_reach_s + 6);
    course.set_target(200.5);
    CHECK(course.seconds_until_warm(200.5) > 6);
  }
  SECTION("not for less than it is at") {
    course.advance(to_reach_s);
    course.set_target(180);
    CHECK(course.seconds_until_warm(180) == 0);
  }
  SECTION("not after cooling down") {
    course.advance(to_reach_s + 6);
    course.set_target(150);
    course.advance(course.seconds_until_cool(150));
    CHECK(course.seconds_until_warm(150) == 0);
  }
}

// The equations as the contract states them, handed to Boost.Odeint: temperature and energy.
TEST_CASE("a general-purpose integrator agrees about warming, cooling and their energy") {
  namespace odeint = boost::numeric::odeint;
  using State = std::array<double, 2>;
  int approached = 0;
  Dice dice(50);
  for (int scenario = 0; scenario < 300; ++scenario) {
    const Hotend h = dice.hotend();
    const double target_c = dice.between(150, h.full_drive_c - 20);
    const double from_c = dice.between(h.ambient_c - 5, target_c + 30);
    const double cooling_s =
        h.cool_time_constant_s > 0 ? h.cool_time_constant_s : h.time_constant_s;
    // Of full drive, within the band; holding is a band of no width.
    const auto share = [&](double at_c) {
      const double hold = (target_c - h.ambient_c) / (h.full_drive_c - h.ambient_c);
      if (at_c >= target_c) return hold;
      if (h.approach_c <= 0) return 1.0;
      return std::min(1.0, hold + (1 - hold) * (target_c - at_c) / h.approach_c);
    };
    HeaterState course(h, from_c);
    course.set_target(target_c);
    State at{from_c, 0};
    double clock_s = 0;
    const auto pass = [&](double seconds, bool driven, bool warms) {
      const auto rate = [&](const State& now, State& change, double) {
        const double drive = driven ? share(now[0]) : 0;
        const double toward_c = h.ambient_c + (h.full_drive_c - h.ambient_c) * drive;
        change[0] =
            warms ? (toward_c - now[0]) / h.time_constant_s : (h.ambient_c - now[0]) / cooling_s;
        change[1] = h.power_w * drive;
      };
      const int steps = 2000;
      odeint::integrate_n_steps(odeint::runge_kutta4<State>(), rate, at, 0.0, seconds / steps,
                                steps);
      clock_s += seconds;
    };
    double energy_j = 0;
    const auto compare = [&](double seconds) {
      energy_j += course.advance(seconds).energy_j;
      CAPTURE(scenario, from_c, target_c, clock_s, h.approach_c, h.cool_time_constant_s);
      CHECK(course.temperature_c() == within(2e-3, at[0]));
      CHECK(energy_j == within(0.2, at[1]));
    };
    if (from_c > target_c) {
      const double coasts_s = dice.between(0, 1) * seconds_to_cool(h, from_c, target_c);
      pass(coasts_s, false, false);
      compare(coasts_s);
      continue;
    }
    pass(h.dead_time_s, true, false);
    compare(h.dead_time_s);
    for (int turn = 0; turn < 3; ++turn) {
      const double climb_s = dice.between(0, h.time_constant_s / 2);
      if (h.approach_c <= 0 && course.seconds_until_at(target_c) < climb_s) break;
      approached += h.approach_c > 0 && at[0] > target_c - h.approach_c;
      pass(climb_s, true, true);
      compare(climb_s);
    }
  }
  CHECK(approached > 50);
}

TEST_CASE("it does not matter in how many pieces time passes, however it is driven") {
  for (unsigned seed = 0; seed < 300; ++seed) {
    Dice dice(1000 + seed);
    const Hotend h = dice.hotend();
    const double start_c = dice.between(h.ambient_c, 300);
    HeaterState whole(h, start_c), pieces(h, start_c);
    for (int turn = 0; turn < 6; ++turn) {
      const double target_c = dice.chance(0.2) ? 0 : dice.between(h.ambient_c, 310);
      whole.set_target(target_c);
      pieces.set_target(target_c);
      const double seconds = dice.between(0, 150);
      const double threshold_c = dice.between(h.ambient_c, 300);
      const HeaterUsage at_once = whole.advance(seconds, threshold_c);
      HeaterUsage in_pieces;
      for (double left_s = seconds; left_s > 0;) {
        const double piece_s = std::min(left_s, dice.between(0, 10));
        in_pieces.add(pieces.advance(piece_s, threshold_c));
        left_s -= piece_s;
      }
      CAPTURE(seed, turn, start_c, target_c, seconds);
      REQUIRE(pieces.temperature_c() == within(1e-8, whole.temperature_c()));
      REQUIRE(in_pieces.energy_j == within(1e-5, at_once.energy_j));
      REQUIRE(in_pieces.above_s == within(1e-6, at_once.above_s));
      REQUIRE(in_pieces.full_drive_s == within(1e-6, at_once.full_drive_s));
      REQUIRE(pieces.seconds_until_warm(target_c) ==
              within(1e-5, whole.seconds_until_warm(target_c)));
    }
  }
}

TEST_CASE("a wait is over when foretold, and no sooner") {
  int settled = 0;
  for (unsigned seed = 0; seed < 500; ++seed) {
    Dice dice(2000 + seed);
    const Hotend h = dice.hotend();
    HeaterState course(h, dice.between(h.ambient_c, 300));
    course.set_target(dice.between(h.ambient_c + 1, 300));
    course.advance(dice.between(0, 60));
    const double target_c = dice.between(h.ambient_c + 1, 300);
    course.set_target(target_c);
    const double warm_s = course.seconds_until_warm(target_c);
    CAPTURE(seed, target_c, course.temperature_c(), warm_s);
    if (warm_s == kNever || warm_s <= 1e-3) continue;
    settled += h.settle_s > 0 ? 1 : 0;
    HeaterState almost = course, there = course;
    almost.advance(warm_s - 1e-3);
    there.advance(warm_s + 1e-9);
    CHECK(almost.seconds_until_warm(target_c) == within(1e-6, 1e-3));
    CHECK(there.temperature_c() >= target_c - h.reached_c - 1e-6);
    CHECK(there.seconds_until_warm(target_c) == within(1e-6, 0));
    if (h.approach_c < h.reached_c) continue;  // there it drives on
    CHECK(course.full_drive_s() <= warm_s - h.settle_s + 1e-6);
    CHECK_FALSE(there.full_drive());
  }
  CHECK(settled > 80);
}

TEST_CASE("the plain functions say what a course lives through") {
  for (unsigned seed = 0; seed < 500; ++seed) {
    Dice dice(3000 + seed);
    const Hotend h = dice.hotend();
    const double to_c = dice.between(150, 300);
    const double from_c = dice.between(h.ambient_c + 1, to_c + 10);
    CAPTURE(seed, from_c, to_c);
    HeaterState undriven(h, from_c);
    undriven.set_target(to_c);
    CHECK(undriven.seconds_until_warm(to_c) == within(1e-6, seconds_to_heat(h, from_c, to_c)));
    HeaterState held(h, from_c);
    held.set_target(from_c);
    held.set_target(to_c);
    CHECK(held.seconds_until_warm(to_c) == within(1e-6, seconds_to_heat_held(h, from_c, to_c)));
  }
}

TEST_CASE("a course that follows a dip is warm in time, and would be late after a later preheat") {
  int in_time = 0, late = 0;
  for (unsigned seed = 0; seed < 1000; ++seed) {
    Dice dice(4000 + seed);
    const Hotend h = dice.hotend();
    const double to_c = dice.between(180, 290);
    const double from_c = dice.chance(0.4) ? to_c : dice.between(h.ambient_c, to_c + 40);
    const double floor_c =
        dice.chance(0.3) ? 0 : std::min(from_c, dice.between(to_c - 80, to_c - 5));
    const double gap_s = dice.between(0, 400);
    const Dip dip = dip_of_gap(h, from_c, to_c, floor_c, gap_s);
    CAPTURE(seed, from_c, to_c, floor_c, gap_s, dip.preheat_at_s, dip.late_s);
    REQUIRE(dip.preheat_at_s >= 0);
    REQUIRE(dip.preheat_at_s <= gap_s);
    const auto late_s = [&](double preheat_at_s) {
      HeaterState course(h, from_c);
      course.set_target(floor_c);
      course.advance(preheat_at_s);
      course.set_target(to_c);
      return preheat_at_s + course.seconds_until_warm(to_c) - gap_s;
    };
    if (dip.late_s > 0) {
      ++late;
      CHECK(late_s(0) == within(1e-6, dip.late_s));
    } else {
      CHECK(late_s(dip.preheat_at_s) < 1e-6);
      if (dip.preheat_at_s + 0.1 < gap_s && dip.dip_c < to_c - h.reached_c - 1) {
        ++in_time;
        CHECK(late_s(dip.preheat_at_s + 0.1) > 1e-3);
      }
    }
  }
  CHECK(in_time > 100);
  CHECK(late > 50);
}

}  // namespace
}  // namespace forewarm::thermal
