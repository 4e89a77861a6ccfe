// Paths, limits and a listener that keeps what it hears, for the tests of motion/.
#pragma once

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <vector>

#include "help/dice.h"
#include "motion/limits.h"
#include "motion/move_timer.h"

namespace forewarm {

struct Sum final : motion::MoveTimer::Listener {
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

inline motion::Limits plain(double accel) {
  motion::Limits l;
  l.max_speed = {1e9, 1e9, 1e9, 1e9};
  l.max_accel = {1e9, 1e9, 1e9, 1e9};
  l.jerk = {1e-9, 1e-9, 1e-9, 1e-9};
  l.accel_print = l.accel_travel = l.accel_retract = accel;
  return l;
}

inline motion::Move line(double x, double y, double feed, double e = 0) {
  motion::Move m;
  m.delta = {x, y, 0, e};
  m.length_mm = std::hypot(x, y);
  m.feed_mm_s = feed;
  return m;
}

inline double time_of(const motion::Limits& limits, const std::vector<motion::Move>& moves) {
  Sum sum;
  motion::MoveTimer clock(limits, sum);
  for (std::size_t i = 0; i < moves.size(); ++i) clock.move(moves[i], i);
  clock.stop();
  REQUIRE(sum.all.size() == moves.size());
  return sum.seconds();
}

using test::Dice;

}  // namespace forewarm
