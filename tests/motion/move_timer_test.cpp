// The clock: whole paths against small steps of length, and what it promises of order and memory.
#include "motion/move_timer.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

#include "motion_test_help.h"

using namespace forewarm;
using motion::profile_seconds;

namespace {

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

motion::Move filament(double mm, double feed) {
  motion::Move m;
  m.delta[3] = mm;
  m.feed_mm_s = feed;
  return m;
}

motion::Limits machine() {
  motion::Limits l;
  l.max_speed = {200, 180, 10, 50};
  l.max_accel = {2000, 1500, 100, 4000};
  l.accel_print = 1200;
  l.accel_travel = 1800;
  return l;
}

// Prints, travels, lifts and retractions, as a job mixes them.
std::vector<motion::Move> job_path(Dice& dice, int count) {
  std::vector<motion::Move> moves;
  for (int k = 0; k < count; ++k) {
    if (dice.chance(0.05)) {
      moves.push_back(filament(dice.between(-2, 2), 30));
    } else if (dice.chance(0.05)) {
      motion::Move lift;
      lift.delta[2] = dice.between(-0.6, 0.6);
      lift.length_mm = std::abs(lift.delta[2]);
      lift.feed_mm_s = 10;
      moves.push_back(lift);
    } else {
      const double length = std::exp(dice.between(-3, 3));
      const double heading = dice.between(-3.2, 3.2);
      moves.push_back(line(length * std::cos(heading), length * std::sin(heading),
                           dice.between(20, 200), dice.chance(0.8) ? length * 0.03 : 0));
    }
  }
  return moves;
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
  motion::MoveTimer clock(motion::Limits{}, sum);
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
  motion::MoveTimer clock(plain(0.001), sum);
  for (std::uint64_t i = 0; i < 10'000; ++i) {
    clock.move(line(1, 0, 100), i);
    CHECK(i - sum.all.size() <= motion::MoveTimer::kMost);
  }
  clock.stop();
  CHECK(sum.all.size() == 10'000);
}

// Where batches end must not show: the same path with moves of no length between, which shift all
// batches, takes the same time to the last bits, and each move its own.
TEST_CASE("batches make no difference") {
  Dice dice(21);
  for (int i = 0; i < 40; ++i) {
    const auto moves = job_path(dice, 700);
    Sum plainly;
    {
      motion::MoveTimer clock(machine(), plainly);
      for (std::size_t k = 0; k < moves.size(); ++k) clock.move(moves[k], k);
      clock.stop();
    }
    Sum shifted;
    motion::MoveTimer clock(machine(), shifted);
    for (std::size_t k = 0; k < moves.size(); ++k) {
      for (int n = int(dice.between(0, 1.3) * 2); n > 0; --n) clock.move(motion::Move{}, 1'000'000);
      clock.move(moves[k], k);
    }
    clock.stop();
    std::erase_if(shifted.all, [](const motion::Timed& m) { return m.tag == 1'000'000; });
    REQUIRE(shifted.all.size() == plainly.all.size());
    for (std::size_t k = 0; k < moves.size(); ++k) {
      REQUIRE(shifted.all[k].tag == k);
      REQUIRE(shifted.all[k].seconds == Approx(plainly.all[k].seconds).epsilon(1e-9));
    }
  }
}

TEST_CASE("moves of no length keep their place and take no time, also first and last") {
  Sum sum;
  motion::MoveTimer clock(machine(), sum);
  clock.move(motion::Move{}, 0);
  clock.move(line(10, 0, 50), 1);
  clock.move(motion::Move{}, 2);
  clock.move(line(10, 0, 50), 3);
  clock.move(motion::Move{}, 4);
  clock.stop();
  REQUIRE(sum.all.size() == 5);
  for (std::uint64_t i = 0; i < 5; ++i) CHECK(sum.all[i].tag == i);
  CHECK(sum.all[0].seconds == 0);
  CHECK(sum.all[2].seconds == 0);
  CHECK(sum.all[2].start_s == sum.all[3].start_s);
  CHECK(sum.all[4].start_s == clock.now_s());
  CHECK(clock.now_s() == Approx(time_of(machine(), {line(20, 0, 50)})));
  clock.move(motion::Move{}, 5);  // alone
  clock.stop();
  CHECK(sum.all.size() == 6);
  CHECK(clock.moves_taken() == 6);
}

TEST_CASE("filament alone goes by its own acceleration and jerk") {
  motion::Limits l = machine();
  l.accel_retract = 800;
  CHECK(time_of(l, {filament(-4, 30)}) == Approx(profile_seconds(4, 5, 5, 30, 800)));
  CHECK(time_of(l, {filament(4, 90)}) == Approx(profile_seconds(4, 5, 5, 50, 800)));
}

TEST_CASE("axes that are slow slow the whole move") {
  motion::Limits l = machine();
  motion::Move slope;  // 3-4-5 in x and z: z at most 10 mm/s and 100 mm/s2
  slope.delta = {30, 0, 40, 0};
  slope.length_mm = 50;
  slope.feed_mm_s = 100;
  CHECK(time_of(l, {slope}) == Approx(profile_seconds(50, 0.5, 0.5, 12.5, 125)));
}

TEST_CASE("an arc in chords takes as long as the way round, where corners allow it") {
  constexpr int kChords = 360;
  std::vector<motion::Move> moves;
  const double radius = 50;
  const double turn = 2 * std::numbers::pi / kChords;
  for (int i = 0; i < kChords; ++i) {
    motion::Move m = line(radius * (std::cos((i + 1) * turn) - std::cos(i * turn)),
                          radius * (std::sin((i + 1) * turn) - std::sin(i * turn)), 60);
    m.length_mm = radius * turn;
    moves.push_back(m);
  }
  motion::Limits l = plain(1000);
  l.jerk = {8, 8, 1, 1};
  CHECK(time_of(l, moves) ==
        Approx(profile_seconds(2 * std::numbers::pi * radius, 8, 8, 60, 1000)).epsilon(1e-4));
}

TEST_CASE("the speed factor, the time scale and what passes by itself") {
  motion::Limits l = plain(1e6);
  l.speed_factor = 0.5;
  CHECK(time_of(l, {line(100, 0, 50)}) == Approx(4).epsilon(1e-3));
  Sum sum;
  motion::MoveTimer clock(plain(1e6), sum, 1.25);
  clock.move(line(100, 0, 50), 0);
  clock.pass(10);
  CHECK(clock.now_s() == Approx(12.5).epsilon(1e-3));
  CHECK(clock.moving_s() == Approx(2.5).epsilon(1e-3));
  clock.limits().speed_factor = 2;
  clock.move(line(100, 0, 50), 1);
  clock.stop();
  CHECK(clock.now_s() == Approx(13.75).epsilon(1e-3));
  CHECK(sum.all[1].start_s == Approx(12.5).epsilon(1e-3));
}

TEST_CASE("stopping twice, or with nothing to do, changes nothing") {
  Sum sum;
  motion::MoveTimer clock(machine(), sum);
  clock.stop();
  clock.pass(0);
  CHECK(clock.now_s() == 0);
  clock.move(line(10, 0, 50), 0);
  clock.stop();
  const double now = clock.now_s();
  clock.stop();
  CHECK(clock.now_s() == now);
  CHECK(sum.all.size() == 1);
}

// By junction deviation motion ends at rest, so a stop costs time or nothing. By jerk it ends
// within jerk of rest, and a corner between a fast axis and a slow one is taken at one speed, that
// of the slow one, while a stop there ends fast and starts slow: as much as jerk / acceleration.
TEST_CASE("a stop anywhere is never faster") {
  Dice dice(31);
  motion::Limits by_deviation = machine();
  by_deviation.junction_deviation = 0.02;
  const motion::Limits by_jerk = machine();
  for (int i = 0; i < 3; ++i) {
    const auto moves = job_path(dice, 200);
    for (const motion::Limits* l : {&std::as_const(by_deviation), &by_jerk}) {
      const double through = time_of(*l, moves);
      for (std::size_t at = 0; at < moves.size(); ++at) {
        Sum sum;
        motion::MoveTimer clock(*l, sum);
        for (std::size_t k = 0; k < moves.size(); ++k) {
          clock.move(moves[k], k);
          if (k == at) clock.stop();
        }
        clock.stop();
        INFO("stop after move " << at);
        CHECK(sum.seconds() >= through - (l == &by_jerk ? 0.01 : 1e-9));
      }
    }
  }
}

TEST_CASE("paths that are certain only late still come out whole and near the truth") {
  motion::Limits l = plain(5);  // so slow to gather speed that thousands of moves wait
  const std::vector<motion::Move> moves(6000, line(0.5, 0, 200));
  const double seconds = time_of(l, moves);
  CHECK(seconds == Approx(profile_seconds(3000, 0, 0, 200, 5)).epsilon(0.35));
  CHECK(seconds >= profile_seconds(3000, 0, 0, 200, 5) - 1e-6);  // never faster than physics
}
