#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "motion/clock.h"
#include "motion/limits.h"

using namespace forewarm;
using motion::profile_seconds;

// Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and Robots, ch. 3: rest to
// rest T = D/v + v/a if D >= v^2/a, else 2 sqrt(D/a). Published robotics problems (seen; results
// calculated), and inputs from memory with results calculated where marked.
TEST_CASE("trapezoids of the handbooks") {
  CHECK(profile_seconds(20, 0, 0, 3, 0.5) == Approx(12.66667).epsilon(1e-6));
  // D sqrt(2), v 1, T 2: a 1.7071068.
  CHECK(profile_seconds(std::numbers::sqrt2, 0, 0, 1, 1.7071068) == Approx(2).epsilon(1e-6));
  // From memory: D 30, v0 5, v1 2, v 10, a 10.
  CHECK(profile_seconds(30, 5, 2, 10, 10) == Approx(3.445).epsilon(1e-9));
  CHECK(profile_seconds(30, 5, 2, 20, 10) == Approx(2.846830).epsilon(1e-6));
  // Too short for its speed: 2 sqrt(D/a).
  CHECK(profile_seconds(1, 0, 0, 100, 4) == Approx(2 * std::sqrt(1.0 / 4)));
}

namespace {

struct Sum final : motion::Clock::Listener {
  std::vector<motion::Timed> all;
  void timed(std::span<const motion::Timed> moves) override {
    all.insert(all.end(), moves.begin(), moves.end());
  }
  [[nodiscard]] double seconds() const {
    double s = 0;
    for (const auto& m : all) s += m.seconds;
    return s;
  }
};

motion::Limits plain(double accel) {
  motion::Limits l;
  l.max_speed = {1e9, 1e9, 1e9, 1e9};
  l.max_accel = {1e9, 1e9, 1e9, 1e9};
  l.jerk = {1e-9, 1e-9, 1e-9, 1e-9};
  l.accel_print = l.accel_travel = l.accel_retract = accel;
  return l;
}

motion::Move line(double x, double y, double feed, double e = 0) {
  motion::Move m;
  m.delta = {x, y, 0, e};
  m.length_mm = std::hypot(x, y);
  m.feed_mm_s = feed;
  return m;
}

double time_of(const motion::Limits& limits, const std::vector<motion::Move>& moves) {
  Sum sum;
  motion::Clock clock(limits, sum);
  for (std::size_t i = 0; i < moves.size(); ++i) clock.move(moves[i], i);
  clock.stop();
  REQUIRE(sum.all.size() == moves.size());
  return sum.seconds();
}

// The oracle: the same path walked in small steps of length, corner speeds worked out by plain
// vector arithmetic here; forwards and backwards passes over every step.
double integrated(const motion::Limits& l, const std::vector<motion::Move>& moves) {
  constexpr double kStep = 0.002;
  std::vector<double> cap;    // speed allowed at each step's start
  std::vector<double> accel;  // along each step
  std::vector<double> size;
  const auto unit = [](const motion::Move& m, int a) {
    return m.delta[std::size_t(a)] / m.length_mm;
  };
  double before = 0;
  for (std::size_t i = 0; i < moves.size(); ++i) {
    const auto& m = moves[i];
    double v = m.feed_mm_s;
    double a = m.delta[3] > 0 ? l.accel_print : l.accel_travel;
    double stop = 1e18;
    for (int x = 0; x < 4; ++x) {
      const double u = std::abs(unit(m, x));
      if (u < 1e-15) continue;
      v = std::min(v, l.max_speed[std::size_t(x)] / u);
      a = std::min(a, l.max_accel[std::size_t(x)] / u);
      stop = std::min(stop, l.jerk[std::size_t(x)] / u);
    }
    stop = std::min(stop, v);
    double corner = stop;
    if (i > 0) {
      const auto& p = moves[i - 1];
      double low = 0;
      double high = std::min(v, before);
      for (int k = 0; k < 60; ++k) {  // the fastest speed at which every axis keeps within jerk
        const double middle = (low + high) / 2;
        bool good = true;
        for (int x = 0; x < 4; ++x) {
          const double from = unit(p, x) * middle;
          const double to = unit(m, x) * middle;
          const double step =
              from * to < 0 ? std::max(std::abs(from), std::abs(to)) : std::abs(from - to);
          good &= step <= l.jerk[std::size_t(x)] + 1e-12;
        }
        (good ? low : high) = middle;
      }
      double both_stop = std::min(v, before);
      for (int x = 0; x < 4; ++x) {
        for (const auto* q : {&p, &m}) {
          const double u = std::abs(unit(*q, x));
          if (u > 1e-15) both_stop = std::min(both_stop, l.jerk[std::size_t(x)] / u);
        }
      }
      corner = std::max(low, both_stop);
    }
    const int steps = std::max(1, int(std::ceil(m.length_mm / kStep)));
    for (int k = 0; k < steps; ++k) {
      cap.push_back(k == 0 ? corner : v);
      accel.push_back(a);
      size.push_back(m.length_mm / steps);
    }
    before = v;
    if (i + 1 == moves.size()) cap.push_back(stop);
  }
  std::vector<double> speed = cap;
  for (std::size_t i = 1; i < speed.size(); ++i) {
    speed[i] =
        std::min(speed[i], std::sqrt(speed[i - 1] * speed[i - 1] + 2 * accel[i - 1] * size[i - 1]));
  }
  for (std::size_t i = speed.size() - 1; i-- > 0;) {
    speed[i] = std::min(speed[i], std::sqrt(speed[i + 1] * speed[i + 1] + 2 * accel[i] * size[i]));
  }
  double seconds = 0;
  for (std::size_t i = 0; i + 1 < speed.size(); ++i)
    seconds += 2 * size[i] / (speed[i] + speed[i + 1]);
  return seconds;
}

}  // namespace

TEST_CASE("one move from rest to rest") {
  // D 20, v 3, a 0.5.
  CHECK(time_of(plain(0.5), {line(20, 0, 3)}) == Approx(12.66667).epsilon(1e-6));
}

TEST_CASE("a straight line cut in pieces takes as long as whole") {
  const double whole = time_of(plain(100), {line(100, 0, 50)});
  std::vector<motion::Move> pieces(1000, line(0.1, 0, 50));
  CHECK(time_of(plain(100), pieces) == Approx(whole).epsilon(1e-6));
}

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

TEST_CASE("a corner by jerk: no axis steps by more than its own") {
  motion::Limits l = plain(1000);
  l.jerk = {8, 8, 1, 1};
  // A right angle: x falls from v to 0, y rises from 0 to v, so v is 8.
  const double seconds = time_of(l, {line(50, 0, 100), line(0, 50, 100)});
  CHECK(seconds == Approx(2 * profile_seconds(50, 8, 8, 100, 1000)).epsilon(1e-9));
}

TEST_CASE("random paths against small steps") {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> unit(0, 1);
  double worst = 0;
  for (int i = 0; i < 60; ++i) {
    motion::Limits l;
    l.max_speed = {200, 180, 10, 50};
    l.max_accel = {2000, 1500, 100, 4000};
    l.jerk = {4 + 8 * unit(random), 4 + 8 * unit(random), 0.4, 2 + 5 * unit(random)};
    l.accel_print = 300 + 2000 * unit(random);
    l.accel_travel = 300 + 2000 * unit(random);
    std::vector<motion::Move> moves;
    double heading = 0;
    const int count = 5 + int(300 * unit(random));
    for (int k = 0; k < count; ++k) {
      heading += (unit(random) < 0.3 ? 6.28 : 0.4) * (unit(random) - 0.5);
      const double length = std::exp(-2 + 5 * unit(random));
      moves.push_back(line(length * std::cos(heading), length * std::sin(heading),
                           20 + 180 * unit(random), unit(random) < 0.8 ? length * 0.03 : 0));
    }
    const double ours = time_of(l, moves);
    const double theirs = integrated(l, moves);
    worst = std::max(worst, std::abs(ours / theirs - 1));
  }
  INFO("largest deviation " << worst);
  CHECK(worst < 0.005);
}

TEST_CASE("moves come back once each, in order, without gaps in time") {
  Sum sum;
  motion::Clock clock(motion::Limits{}, sum);
  std::mt19937 random(5);
  std::uniform_real_distribution<double> unit(-1, 1);
  for (std::uint64_t i = 0; i < 5000; ++i) {
    motion::Move m = line(unit(random), unit(random), 50, 0.01);
    if (i % 7 == 0) m = {{0, 0, 0, unit(random)}, 0, 30};
    if (i % 11 == 0) m = {{0, 0, 0, 0}, 0, 30};
    clock.move(m, i);
    if (i % 997 == 0) clock.stop();
  }
  clock.stop();
  REQUIRE(sum.all.size() == 5000);
  double now = 0;
  for (std::uint64_t i = 0; i < 5000; ++i) {
    CHECK(sum.all[i].tag == i);
    CHECK(sum.all[i].start_s == Approx(now).margin(1e-9));
    CHECK(std::isfinite(sum.all[i].seconds));
    now = sum.all[i].start_s + sum.all[i].seconds;
  }
  CHECK(clock.now_s() == Approx(now));
}

TEST_CASE("memory is bounded when nothing is ever certain") {
  // An acceleration so low that ten thousand moves never reach their speed.
  Sum sum;
  motion::Clock clock(plain(0.001), sum);
  for (std::uint64_t i = 0; i < 10'000; ++i) {
    clock.move(line(1, 0, 100), i);
    CHECK(i - sum.all.size() <= motion::Clock::kMost);
  }
  clock.stop();
  CHECK(sum.all.size() == 10'000);
}

TEST_CASE("a stop is never faster") {
  const std::vector<motion::Move> moves(50, line(5, 1, 80));
  const double through = time_of(motion::Limits{}, moves);
  Sum sum;
  motion::Clock clock(motion::Limits{}, sum);
  for (std::size_t i = 0; i < moves.size(); ++i) {
    clock.move(moves[i], i);
    if (i == 20) clock.stop();
  }
  clock.stop();
  CHECK(sum.seconds() > through);
}

TEST_CASE("limits as jobs set them") {
  const auto after = [](std::initializer_list<const char*> lines) {
    motion::Limits l;
    gcode::Words w;
    for (const char* text : lines) {
      gcode::parse(text, w);
      l.take(w);
    }
    return l;
  };
  CHECK(after({"M201 X1000 Y900 Z100 E5000"}).max_accel ==
        std::array<double, 4>{1000, 900, 100, 5000});
  CHECK(after({"M203 X200 E25"}).max_speed == std::array<double, 4>{200, 300, 12, 25});
  CHECK(after({"M203 X12000 Y12000 Z600 E3000"}).max_speed ==
        std::array<double, 4>{200, 200, 10, 50});  // mm/min
  const auto pt = after({"M204 P1250 R1500 T2500"});
  CHECK((pt.accel_print == 1250 && pt.accel_retract == 1500 && pt.accel_travel == 2500));
  const auto s = after({"M204 S800"});
  CHECK((s.accel_print == 800 && s.accel_travel == 800 && s.accel_retract == 1500));
  CHECK(after({"M205 X8 Y7 Z0.4 E4.5"}).jerk == std::array<double, 4>{8, 7, 0.4, 4.5});
  CHECK(after({"M205 J0.03"}).junction_deviation == 0.03);
  CHECK(after({"M205 J0.03", "M205 X8"}).junction_deviation == 0);
  CHECK(after({"M205 J0.03", "M205 X8"}).jerk[1] == 8);
  CHECK(after({"M220 S50"}).speed_factor == 0.5);
  CHECK(after({"M221 S95"}).flow_factor == 0.95);
  CHECK(after({"M207 S1.2 F2400"}).retract_mm_s == 40);
  CHECK(after({"M566 X480"}).jerk[0] == 8);
  CHECK(after({"M204 P0", "M203 X-5", "M220 S0", "M104 S200", "G1 X1"}) == motion::Limits{});
}
