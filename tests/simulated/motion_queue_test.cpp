#include "motion_queue.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace simulated;

namespace {

Move leg(double degrees, double length_mm, double speed_mm_s, double accel_mm_s2) {
  Move m;
  const double angle = degrees * std::numbers::pi / 180;
  m.direction = {std::cos(angle), std::sin(angle), 0, 0};
  m.length_mm = length_mm;
  m.speed_mm_s = speed_mm_s;
  m.accel_mm_s2 = accel_mm_s2;
  m.travels = true;
  return m;
}

// Of legs with the angle theta between them: straight on is 180 degrees.
double corner(MotionQueue& queue, double theta, double accel_mm_s2 = 1000,
              double speed_mm_s = 500) {
  return queue.corner_mm_s(leg(0, 10, speed_mm_s, accel_mm_s2),
                           leg(180 - theta, 10, speed_mm_s, accel_mm_s2));
}

MotionKind with(const char* rule) {
  MotionKind kind;
  kind.corner = rule;
  return kind;
}

double all(MotionQueue& queue, std::vector<Move> moves) {
  double total = 0, seconds = 0;
  const auto pop = [&] {
    queue.pop(seconds);
    total += seconds;
  };
  for (Move& m : moves) {
    while (queue.full()) pop();
    queue.push(std::move(m));
  }
  while (!queue.empty()) pop();
  return total;
}

}  // namespace

TEST_CASE("a straight move has a trapezoid for its speed") {
  // Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and Robots.
  CHECK(seconds_of(20, 0, 0, 3, 0.5) == Approx(12.66667).epsilon(1e-6));
  CHECK(seconds_of(30, 5, 2, 10, 10) == Approx(3.445).epsilon(1e-6));
  CHECK(seconds_of(30, 5, 2, 20, 10) == Approx(2.846830).epsilon(1e-6));  // a triangle
  CHECK(seconds_of(1, 0, 0, 100, 4) == Approx(1).epsilon(1e-12));         // 2 sqrt(D/a)
}

TEST_CASE("the speed through a right angle says that of every corner") {
  MotionKind kind = with("right_angle");
  kind.right_angle_mm_s = 6;
  MotionQueue queue(kind);
  CHECK(corner(queue, 90) == Approx(6));
  CHECK(corner(queue, 90, 4000) == Approx(6));
  // R/delta = s/(1 - s): 1 at 60 degrees, 12.1370712 at 135 (route surveying's external distance).
  CHECK(corner(queue, 60) == Approx(6 * std::sqrt(std::sqrt(2.0) - 1)));
  CHECK(corner(queue, 135) == Approx(6 * std::sqrt((std::sqrt(2.0) - 1) * 12.1370712)));
  CHECK(corner(queue, 180) == 500);
  CHECK(corner(queue, 0) == Approx(0).margin(1e-6));
}

TEST_CASE("a deviation at corners does, too") {
  // sqrt(a R) with delta 0.02 mm and 1000 mm/s2.
  MotionQueue queue(with("deviation"));
  CHECK(corner(queue, 60) == Approx(4.472136).epsilon(1e-6));
  CHECK(corner(queue, 90) == Approx(6.948688).epsilon(1e-6));
  CHECK(corner(queue, 120) == Approx(11.370226).epsilon(1e-6));
  CHECK(corner(queue, 135) == Approx(15.580161).epsilon(1e-6));
}

TEST_CASE("jerk bounds what each axis changes at once") {
  MotionQueue queue(with("jerk"));  // x and y: 8
  CHECK(corner(queue, 90) == Approx(8));
  CHECK(corner(queue, 120) == Approx(8 / std::sin(std::numbers::pi / 3)));
  CHECK(corner(queue, 180) == 500);
  CHECK(corner(queue, 90, 1000, 5) == 5);
}

TEST_CASE("filament alone and a move of the head meet at rest") {
  MotionQueue queue(with("right_angle"));
  Move retract = leg(0, 1, 35, 1000);
  retract.direction = {0, 0, 0, -1};
  retract.travels = false;
  CHECK(queue.corner_mm_s(retract, leg(0, 10, 100, 1000)) == 0);
}

TEST_CASE("two legs are slowed down to the corner between them") {
  MotionQueue queue(with("right_angle"));
  const double one = seconds_of(10, 0, 6, 50, 1000);
  CHECK(all(queue, {leg(0, 10, 50, 1000), leg(90, 10, 50, 1000)}) ==
        Approx(2 * one).epsilon(1e-12));
}

TEST_CASE("pieces of a line take as long as the line, where enough of them are held") {
  const std::vector<Move> pieces(20, leg(30, 1, 200, 1000));
  MotionKind kind = with("right_angle");
  const double whole = seconds_of(20, 0, 0, 200, 1000);
  MotionQueue enough(kind);
  CHECK(all(enough, pieces) == Approx(whole).epsilon(1e-9));
  kind.look_ahead = 3;
  MotionQueue few(kind);
  CHECK(all(few, pieces) > 1.25 * whole);
  kind.look_ahead = 1;
  MotionQueue none(kind);
  CHECK(all(none, pieces) == Approx(20 * seconds_of(1, 0, 0, 200, 1000)));
}

TEST_CASE("a slower machine takes so much longer") {
  MotionKind kind = with("jerk");
  kind.time_factor = 1.07;
  MotionQueue queue(kind);
  CHECK(all(queue, {leg(0, 20, 3, 0.5)}) == Approx(1.07 * 12.66667).epsilon(1e-6));
}
