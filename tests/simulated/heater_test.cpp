#include "heater.h"

#include <algorithm>
#include <catch2/catch.hpp>

using namespace simulated;

namespace {

constexpr double kBeat = 0.1;

HeaterKind quiet() {
  HeaterKind kind;
  kind.noise_c = kind.step_c = 0;
  return kind;
}

Heater made(const HeaterKind& kind, double ambient_c = 22) {
  return Heater(kind, ambient_c, kBeat, Chance(1, "noise"), Chance(1, "climbs"));
}

void driven(Heater& heater, double drive, double seconds) {
  for (int i = 0; i < int(std::lround(seconds / kBeat)); ++i) heater.beat_driven(drive);
}

void controlled(Heater& heater, double seconds) {
  for (int i = 0; i < int(std::lround(seconds / kBeat)); ++i) heater.beat();
}

}  // namespace

TEST_CASE("a step of drive is answered by two lags in series") {
  // 1 - (tau1 exp(-t/tau1) - tau2 exp(-t/tau2))/(tau1 - tau2), any text on control; values worked
  // out by hand for 150 s and 20 s.
  HeaterKind kind = quiet();
  kind.full_drive_c = 1;
  kind.time_constant_s = 150;
  kind.sensor_lag_s = 20;
  kind.dead_time_s = 0;
  Heater heater = made(kind, 0);
  driven(heater, 1, 20);
  CHECK(heater.sensor_c() == Approx(0.0467814690).epsilon(1e-6));
  driven(heater, 1, 130);
  CHECK(heater.sensor_c() == Approx(0.5756088116).epsilon(1e-6));
  driven(heater, 1, 450);
  CHECK(heater.sensor_c() == Approx(0.9788665705).epsilon(1e-6));
}

TEST_CASE("dead time shifts the response") {
  HeaterKind kind = quiet();
  kind.dead_time_s = 2;
  Heater late = made(kind);
  kind.dead_time_s = 0;
  Heater prompt = made(kind);
  driven(late, 1, 2);
  CHECK(late.sensor_c() == 22);
  driven(late, 1, 30);
  driven(prompt, 1, 30);
  CHECK(late.sensor_c() == Approx(prompt.sensor_c()).epsilon(1e-12));
}

TEST_CASE("undriven it cools by a time constant of its own") {
  HeaterKind kind = quiet();
  kind.cool_time_constant_s = 120;
  kind.sensor_lag_s = kind.dead_time_s = 0;
  Heater heater = made(kind);
  heater.put_at(222);
  driven(heater, 0, 120);
  CHECK(heater.sensor_c() == Approx(22 + 200 * std::exp(-1.0)).epsilon(1e-9));
}

TEST_CASE("the controller drives fully, slows down, overshoots a little and holds") {
  Heater heater = made(quiet());
  heater.set_target(215);
  double full_until_c = 0, highest_c = 0, drive_at_half = 0;
  for (int i = 0; i < 3000; ++i) {
    heater.beat();
    if (heater.drive() >= 1) full_until_c = heater.sensor_c();
    highest_c = std::max(highest_c, heater.sensor_c());
    if (heater.sensor_c() < 210) drive_at_half = heater.drive();
  }
  CHECK(full_until_c > 195);
  CHECK(full_until_c < 210);
  CHECK(drive_at_half < 0.9);
  CHECK(drive_at_half > heater.hold_drive(215) + 0.05);
  CHECK(highest_c > 215.1);
  CHECK(highest_c < 218);
  controlled(heater, 600);
  CHECK(heater.sensor_c() == Approx(215).margin(0.1));
  CHECK(heater.drive() == Approx(heater.hold_drive(215)).margin(0.01));
}

TEST_CASE("no two climbs are alike, where the drive is spread") {
  HeaterKind kind = quiet();
  kind.drive_sd = 0.05;
  kind.sensor_lag_s = kind.dead_time_s = 0;
  double sum = 0, squares = 0;
  constexpr int kClimbs = 2000;
  Heater heater = made(kind);
  const double of_a_beat = (kind.full_drive_c - 22) * (1 - std::exp(-kBeat / kind.time_constant_s));
  for (int i = 0; i < kClimbs; ++i) {
    heater.put_at(22);
    heater.set_target(0);
    heater.set_target(300);
    heater.beat();
    const double share = (heater.sensor_c() - 22) / of_a_beat;
    sum += share;
    squares += (share - 1) * (share - 1);
  }
  CHECK(sum / kClimbs == Approx(1).margin(0.005));
  CHECK(std::sqrt(squares / kClimbs) == Approx(0.05).epsilon(0.06));
}

TEST_CASE("off, it is not driven, and a target at ambient is off") {
  Heater heater = made(quiet());
  heater.set_target(150);
  controlled(heater, 10);
  CHECK(heater.drive() == 1);
  heater.set_target(22);
  controlled(heater, 1);
  CHECK(heater.drive() == 0);
}

TEST_CASE("what is read has noise, and steps") {
  HeaterKind kind = quiet();
  kind.noise_c = 0.5;
  kind.step_c = 0.25;
  Heater heater = made(kind);
  double sum = 0, squares = 0;
  constexpr int kReadings = 20000;
  for (int i = 0; i < kReadings; ++i) {
    heater.put_at(100);
    const double off = heater.read_c() - 100;
    REQUIRE(off * 4 == std::round(off * 4));
    sum += off;
    squares += off * off;
  }
  CHECK(sum / kReadings == Approx(0).margin(0.02));
  // Steps add their own 1/12 of a square.
  CHECK(std::sqrt(squares / kReadings) == Approx(std::sqrt(0.25 + 0.0625 / 12)).epsilon(0.03));
}

TEST_CASE("the same seed gives the same numbers, another purpose others") {
  Chance one(7, "a"), same(7, "a"), other(7, "b"), next(8, "a");
  for (int i = 0; i < 100; ++i) {
    const double share = one.share();
    REQUIRE(share == same.share());
    REQUIRE(share != other.share());
    REQUIRE(share != next.share());
    REQUIRE(share >= 0);
    REQUIRE(share < 1);
  }
}
