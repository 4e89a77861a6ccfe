// The clock's arithmetic on many moves side by side, a column for each quantity.
//
// What can be said of a move and of the corner before it without looking further, and the time it
// takes once its speeds are known. Both are the same few steps for every move, which the processor
// does for several at once; each quantity is rounded as if it were alone, so that results are the
// same on any machine. Sources of the formulas: move_timer.h. Units: mm, s.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "motion/limits.h"

namespace forewarm::motion {

constexpr std::size_t kLanes = 128;  // moves at a time, at most

// What limits say, as it is used. Over each axis' limit, one; and by kind of move.
struct Rates {
  enum Kind : std::uint8_t { kTravels, kPrints, kFilamentAlone };
  std::array<double, 4> per_speed{}, per_accel{}, per_jerk{};
  std::array<double, 3> accel{}, least_speed{};
  double speed_factor = 1, junction_deviation = 0;
  double corner_pull = 0;  // v^2 (1 - s)/s of a corner, by the speed through a right angle
  [[nodiscard]] static Rates of(const Limits& limits);
};

// Moves in order; before the first, in place 0 of longer columns, the one that came before them.
struct Lanes {
  using Column = std::array<double, kLanes>;
  using LongColumn = std::array<double, kLanes + 1>;
  // As they are given. None is of no length.
  std::array<Column, 4> delta;  // x y z e
  Column square;                // of the length: in x y z, or of the filament alone
  Column feed, accel_asked;     // as wished, by the kind of move
  // What follows.
  std::array<LongColumn, 4> unit;  // direction
  LongColumn cruise;               // the highest speed
  LongColumn safe;                 // that it may start and stop at
  LongColumn accel;
  Column length, gain2;  // 2 a d: what the square of the speed can gain
  Column entry_most2;    // square of the speed that the corner before it allows
};

// From what is given of the first `count` what follows, and makes the last of them the one that
// came before. `begins`: none did. REQUIRES: 0 < count <= kLanes.
void bound(Lanes& lanes, std::size_t count, const Rates& rates, bool begins);

// Seconds of `count` trapezoids, in the columns' order: squares of the speeds at their two ends
// in, seconds out. A move of no length takes none.
struct Trapezoids {
  const double* length;
  const double* accel;
  const double* cruise;
  const double* gain2;
  const double* v0_2;
  const double* v1_2;
};
void seconds_of(const Trapezoids& t, std::size_t count, double* seconds);

// Time of one trapezoid; v0, v1 <= v. REQUIRES: |v0^2 - v1^2| <= 2 a d (to rounding), a > 0.
[[nodiscard]] double profile_seconds(double d, double v0, double v1, double v, double a);

}  // namespace forewarm::motion
