// How fast corners are taken, by junction deviation and by jerk.
#include "motion_test_help.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace forewarm;
using motion::profile_seconds;

// Geometry as the external distance of a route curve (Ghilani & Wolf, Elementary Surveying; values
// from memory): R/delta = s/(1-s), s = sin(theta/2). delta 0.02 mm, a 1000 mm/s^2, calculated.
TEST_CASE("corner speeds by junction deviation") {
  struct Row {
    double inner_angle, speed;
  };
  const Row row =
      GENERATE(values<Row>({{60, 4.472136}, {90, 6.948688}, {135, 15.580161}, {120, 11.370226}}));
  motion::Limits l = plain(1000);
  l.junction_deviation = 0.02;
  const double turn = std::numbers::pi * (1 - row.inner_angle / 180);
  const double d = 50;
  const double v = 100;
  const double seconds =
      time_of(l, {line(d, 0, v), line(d * std::cos(turn), d * std::sin(turn), v)});
  // Two moves, each at rest at one end and at the corner's speed at the other.
  CHECK(seconds == Approx(2 * profile_seconds(d, 0, row.speed, v, 1000)).epsilon(1e-7));
}

// The same figure in surveying: with intersection angle I, E = R (sec(I/2) - 1). Ghilani & Wolf: I
// 8 deg 24', R 2864.79 ft, E 7.714 ft (from memory; the formula seen). An acceleration of 1 takes
// that curve at sqrt(R).
TEST_CASE("corner speeds by the surveyors' curve") {
  motion::Limits l = plain(1);
  l.junction_deviation = 7.714;
  const double turn = 8.4 * std::numbers::pi / 180;
  const double v = std::sqrt(2864.79);
  const double d = 10'000;
  const double seconds =
      time_of(l, {line(d, 0, 100), line(d * std::cos(turn), d * std::sin(turn), 100)});
  CHECK(seconds == Approx(2 * profile_seconds(d, 0, v, 100, 1)).epsilon(1e-5));
}

TEST_CASE("junction deviation: straight on is no corner, back is a stop") {
  motion::Limits l = plain(1000);
  l.junction_deviation = 0.02;
  CHECK(time_of(l, {line(50, 0, 100), line(50, 0, 100)}) ==
        Approx(profile_seconds(100, 0, 0, 100, 1000)));
  CHECK(time_of(l, {line(50, 0, 100), line(-50, 0, 100)}) ==
        Approx(2 * profile_seconds(50, 0, 0, 100, 1000)));
  // The filament alone has no direction to turn from.
  motion::Move filament;
  filament.delta[3] = -1;
  filament.feed_mm_s = 10;
  CHECK(time_of(l, {line(50, 0, 100), filament, line(50, 0, 100)}) ==
        Approx(2 * profile_seconds(50, 0, 0, 100, 1000) + profile_seconds(1, 0, 0, 10, 1000)));
}

// The same circle, by the speed v90 at which it is taken where the legs are square to each other: R
// over that of a right angle is s/(1-s) * (sqrt(2) - 1). From R/delta of 60, 90 and 135 degrees, 1,
// 2.41421356 and 12.1370712 (the surveyors' figure, as above; calculated).
TEST_CASE("corner speeds by the speed through a right angle, whatever the acceleration") {
  struct Row {
    double inner_angle, speed;
  };
  const Row row = GENERATE(values<Row>({{60, 5 * std::sqrt(1 / 2.41421356)},
                                        {90, 5},
                                        {135, 5 * std::sqrt(12.1370712 / 2.41421356)}}));
  const double accel = GENERATE(400, 1000, 8000);
  motion::Limits l = plain(accel);
  l.jerk = {20, 20, 20, 20};  // not in force
  l.junction_deviation = 0.5;
  l.right_angle = 5;
  const double turn = std::numbers::pi * (1 - row.inner_angle / 180);
  const double d = 50;
  const double v = 100;
  const double seconds =
      time_of(l, {line(d, 0, v), line(d * std::cos(turn), d * std::sin(turn), v)});
  CHECK(seconds == Approx(2 * profile_seconds(d, 0, row.speed, v, accel)).epsilon(1e-7));
}

TEST_CASE("by the speed through a right angle straight on is no corner, back is a stop") {
  motion::Limits l = plain(1000);
  l.right_angle = 5;
  CHECK(time_of(l, {line(50, 0, 100), line(50, 0, 100)}) ==
        Approx(profile_seconds(100, 0, 0, 100, 1000)));
  CHECK(time_of(l, {line(50, 0, 100), line(-50, 0, 100)}) ==
        Approx(2 * profile_seconds(50, 0, 0, 100, 1000)));
  // Legs that are slower than the corner bound it.
  CHECK(time_of(l, {line(50, 0, 100), line(0, 50, 3)}) ==
        Approx(profile_seconds(50, 0, 3, 100, 1000) + profile_seconds(50, 3, 0, 3, 1000)));
}

TEST_CASE("a corner by jerk: no axis steps by more than its own") {
  motion::Limits l = plain(1000);
  l.jerk = {8, 8, 1, 1};
  // A right angle: x falls from v to 0, y rises from 0 to v, so v is 8.
  const double seconds = time_of(l, {line(50, 0, 100), line(0, 50, 100)});
  CHECK(seconds == Approx(2 * profile_seconds(50, 8, 8, 100, 1000)).epsilon(1e-9));
}

TEST_CASE("jerk: every axis of a corner, and turning round") {
  motion::Limits l = plain(1000);
  l.jerk = {8, 8, 1, 1};
  const auto at_corner = [&](const motion::Move& second, double speed, double end) {
    const double seconds = time_of(l, {line(50, 0, 100), second});
    CHECK(seconds == Approx(profile_seconds(50, 8, speed, 100, 1000) +
                            profile_seconds(second.length_mm, speed, end, 100, 1000))
                         .epsilon(1e-9));
  };
  const double r = std::sqrt(0.5);
  at_corner(line(-50, 0, 100), 8, 8);                   // to rest and from rest
  at_corner(line(50 * r, 50 * r, 100), 8 / r, 8 / r);   // y steps by v sqrt(1/2)
  at_corner(line(50 * r, -50 * r, 100), 8 / r, 8 / r);  // the other way the same
  at_corner(line(-50 * r, 50 * r, 100), 8, 8 / r);      // x turns round
  at_corner(line(40, 30, 100), 8 / 0.6, 10);            // 3-4-5: y steps by 0.6 v
}

TEST_CASE("jerk: a path starts and ends at what its axes may step by") {
  motion::Limits l = plain(1000);
  l.jerk = {8, 4, 1, 1};
  CHECK(time_of(l, {line(50, 0, 100)}) == Approx(profile_seconds(50, 8, 8, 100, 1000)));
  CHECK(time_of(l, {line(0, 50, 100)}) == Approx(profile_seconds(50, 4, 4, 100, 1000)));
  CHECK(time_of(l, {line(30, 40, 100)}) == Approx(profile_seconds(50, 5, 5, 100, 1000)));
  CHECK(time_of(l, {line(50, 0, 3)}) == Approx(50.0 / 3));  // never faster than asked
}

TEST_CASE("jerk: a corner within everyone's step is no corner") {
  motion::Limits l = plain(1000);
  l.jerk = {8, 8, 1, 1};
  const double turn = 2 * std::numbers::pi / 180;  // at 100 mm/s y steps by 3.5
  CHECK(time_of(l, {line(50, 0, 100), line(50 * std::cos(turn), 50 * std::sin(turn), 100)}) ==
        Approx(profile_seconds(100, 8, 8, 100, 1000)).epsilon(1e-5));
}
