// The trapezoid of one move, against published values and against its own definition.
#include "motion_test_help.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace forewarm;
using motion::profile_seconds;

// Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and Robots, ch. 3: rest to
// rest T = D/v + v/a if D >= v^2/a, else 2 sqrt(D/a).
TEST_CASE("trapezoids of the handbooks") {
  // Published robotics problems: seen; their results calculated.
  CHECK(profile_seconds(20, 0, 0, 3, 0.5) == Approx(12.66667).epsilon(1e-6));
  CHECK(profile_seconds(std::numbers::sqrt2, 0, 0, 1, 1.7071068) == Approx(2).epsilon(1e-6));
  // Inputs from memory, results calculated: D 30, v0 5, v1 2, a 10; v 10, then v 20, which it does
  // not reach: its peak is sqrt(aD + (v0^2 + v1^2) / 2).
  CHECK(profile_seconds(30, 5, 2, 10, 10) == Approx(3.445).epsilon(1e-9));
  CHECK(profile_seconds(30, 5, 2, 20, 10) == Approx(2.846830).epsilon(1e-6));
  const double peak = std::sqrt(10 * 30 + (5 * 5 + 2 * 2) / 2.0);
  CHECK(peak == Approx(17.73415).epsilon(1e-6));
  CHECK(profile_seconds(30, 5, 2, peak, 10) == Approx(2.846830).epsilon(1e-6));
  // Calculated: too short for its speed, and just long enough for it.
  CHECK(profile_seconds(1, 0, 0, 100, 4) == Approx(2 * std::sqrt(1.0 / 4)));
  CHECK(profile_seconds(25, 0, 0, 10, 4) == Approx(25.0 / 10 + 10.0 / 4));
}

// The same problems' D 10, v 2, a 4 up and 1 down takes 6.25 s (seen; result calculated). One move
// has one acceleration here, so it is two, meeting at full speed.
TEST_CASE("up and down at different accelerations, as two moves") {
  const double up = 2.0 * 2 / (2 * 4);
  CHECK(profile_seconds(up, 0, 2, 2, 4) + profile_seconds(10 - up, 2, 0, 2, 1) ==
        Approx(6.25).epsilon(1e-12));
}

TEST_CASE("edges of a trapezoid") {
  CHECK(profile_seconds(10, 5, 5, 5, 100) == Approx(2));             // cruise throughout
  CHECK(profile_seconds(6, 5, 1, 9, 2) == Approx(2));                // barely slows in time
  CHECK(profile_seconds(6, 1, 5, 9, 2) == Approx(2));                // barely gathers speed
  CHECK(profile_seconds(6 * (1 - 1e-15), 5, 1, 9, 2) == Approx(2));  // a rounding too short
  CHECK(profile_seconds(1e-12, 0, 0, 100, 1000) == Approx(2e-6 * std::sqrt(1e-3)));
}

// Time by small steps: speed gathered as allowed from both ends, held to the limit.
TEST_CASE("random trapezoids against small steps") {
  Dice dice(11);
  for (int i = 0; i < 300; ++i) {
    const double a = dice.between(50, 5000);
    const double v = dice.between(10, 300);
    const double v0 = dice.between(0, v);
    const double v1 = dice.between(0, v);
    const double d = std::abs(v0 * v0 - v1 * v1) / (2 * a) + dice.between(0.01, 60);
    constexpr int kSteps = 100'000;
    double seconds = 0;
    for (int k = 0; k < kSteps; ++k) {
      const double at = (k + 0.5) * d / kSteps;
      seconds +=
          d / kSteps /
          std::min({v, std::sqrt(v0 * v0 + 2 * a * at), std::sqrt(v1 * v1 + 2 * a * (d - at))});
    }
    INFO(d << " mm from " << v0 << " to " << v1 << " at most " << v << ", " << a);
    CHECK(profile_seconds(d, v0, v1, v, a) == Approx(seconds).epsilon(0.002));
  }
}
