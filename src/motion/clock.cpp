#include "motion/clock.h"

#include <algorithm>
#include <cmath>

namespace forewarm::motion {

namespace {

// The speed at which a corner between two directions of travel can be taken by jerk: each axis may
// step by its jerk; an axis that turns round steps to rest and from rest, one after the other.
double corner_by_jerk(const std::array<double, 4>& from, const std::array<double, 4>& to,
                      double speed, const std::array<double, 4>& jerk) {
  double factor = 1;
  for (std::size_t a = 0; a < 4; ++a) {
    const double out = from[a] * speed;
    const double in = to[a] * speed;
    const bool turns = (out > 0) != (in > 0) && out != 0 && in != 0;
    const double step = turns ? std::max(std::abs(out), std::abs(in)) : std::abs(out - in);
    if (step * factor > jerk[a]) factor = jerk[a] / step;
  }
  return speed * factor;
}

double corner_by_deviation(const std::array<double, 4>& from, const std::array<double, 4>& to,
                           double accel, double deviation) {
  const double along = from[0] * to[0] + from[1] * to[1] + from[2] * to[2];
  if (along <= -1 + 1e-9) return 0;
  const double s = std::sqrt(std::max(0.0, 0.5 * (1 + along)));  // sin of half the inner angle
  if (s >= 1 - 1e-12) return 1e9;
  return std::sqrt(accel * deviation * s / (1 - s));
}

}  // namespace

double profile_seconds(double d, double v0, double v1, double v, double a) {
  const double peak = std::sqrt(std::max(0.0, a * d + (v0 * v0 + v1 * v1) / 2));
  if (peak <= v) {
    const double top = std::max({peak, v0, v1});
    return ((top - v0) + (top - v1)) / a;
  }
  const double ramps = ((v * v - v0 * v0) + (v * v - v1 * v1)) / (2 * a);
  return ((v - v0) + (v - v1)) / a + std::max(0.0, d - ramps) / v;
}

Clock::Clock(const Limits& limits, Listener& listener, double time_scale)
    : limits_(limits), listener_(listener), time_scale_(time_scale) {
  waiting_.reserve(kMost);
  out_.reserve(kMost);
}

void Clock::move(const Move& m, std::uint64_t tag) {
  const double e = std::abs(m.delta[3]);
  const bool filament_alone = m.length_mm <= 0;
  const double length = filament_alone ? e : m.length_mm;
  ++taken_;
  if (!(length > 0)) {
    // Nothing to travel, but its place in the order counts: deliver it in turn, without time.
    waiting_.push_back({0, 1, 1, 1e9, 1e9, 0, tag});
    if (waiting_.size() >= settle_at_) settle(false);
    return;
  }
  const bool prints = m.delta[3] > 0 && !filament_alone;

  double cruise = m.feed_mm_s * limits_.speed_factor;
  cruise = std::max(cruise,
                    prints || filament_alone ? limits_.min_print_speed : limits_.min_travel_speed);
  double accel = filament_alone ? limits_.accel_retract
                 : prints       ? limits_.accel_print
                                : limits_.accel_travel;
  std::array<double, 4> unit{};
  double safe = 1e9;
  for (std::size_t a = 0; a < 4; ++a) {
    unit[a] = m.delta[a] / length;
    const double share = std::abs(unit[a]);
    if (share == 0) continue;
    if (cruise * share > limits_.max_speed[a]) cruise = limits_.max_speed[a] / share;
    if (accel * share > limits_.max_accel[a]) accel = limits_.max_accel[a] / share;
    if (safe * share > limits_.jerk[a]) safe = limits_.jerk[a] / share;
  }
  cruise = std::max(cruise, 1e-3);
  const bool by_deviation = limits_.junction_deviation > 0;
  safe = by_deviation ? 0 : std::min(safe, cruise);

  double corner = safe;
  if (has_last_) {
    const double speed = std::min(cruise, last_cruise_);
    if (by_deviation) {
      corner =
          filament_alone || (last_unit_[0] == 0 && last_unit_[1] == 0 && last_unit_[2] == 0)
              ? 0
              : std::min(speed, corner_by_deviation(last_unit_, unit, std::min(accel, last_accel_),
                                                    limits_.junction_deviation));
    } else {
      // Stopping and starting within jerk is always open.
      corner = std::max(corner_by_jerk(last_unit_, unit, speed, limits_.jerk),
                        std::min({safe, last_safe_, speed}));
    }
  }
  // Moves of no length may wait already: they have no part in where motion begins.
  if (!has_last_) entry_s_ = corner;
  has_last_ = true;
  last_unit_ = unit;
  last_cruise_ = cruise;
  last_safe_ = safe;
  last_accel_ = accel;
  waiting_.push_back({length, accel, cruise, safe, corner, 0, tag});
  if (waiting_.size() >= settle_at_) settle(false);
}

void Clock::settle(bool at_end) {
  if (waiting_.empty()) return;
  // Backwards: how fast each corner may be entered if the path ends where it is known to. Short of
  // the end nothing is known of the corner to come, so rest is assumed: what is certain from there
  // stays certain whatever comes.
  double next = at_end ? last_safe_ : 0;
  std::size_t certain = 0;  // blocks before the last corner that no later move can make faster
  double certain_exit = 0;
  for (std::size_t i = waiting_.size(); i-- > 0;) {
    Block& b = waiting_[i];
    if (b.length <= 0) {
      b.entry = next;
      continue;
    }
    const double reach = std::sqrt(next * next + 2 * b.accel * b.length);
    b.entry = std::min(b.entry_most, reach);
    next = b.entry;
    if (certain == 0 && i > 0 && b.entry >= b.entry_most) {
      certain = i;
      certain_exit = b.entry;
    }
  }
  if (at_end) {
    deliver(waiting_.size(), last_safe_);
  } else if (certain > 0) {
    deliver(certain, certain_exit);
  } else if (waiting_.size() >= kMost) {
    const std::size_t half = waiting_.size() / 2;
    deliver(half, waiting_[half].entry);
  }
  settle_at_ = std::min(kMost, waiting_.size() + kBatch);
}

// Forwards over the first `count` blocks: acceleration from the speed before bounds the next entry.
void Clock::deliver(std::size_t count, double exit_speed) {
  out_.clear();
  double v0 = entry_s_;
  for (std::size_t i = 0; i < count; ++i) {
    const Block& b = waiting_[i];
    if (b.length <= 0) {
      out_.push_back({b.tag, now_s_, 0});
      continue;
    }
    const double allowed = i + 1 < count ? waiting_[i + 1].entry : exit_speed;
    v0 = std::min(v0, b.entry);
    const double v1 = std::min({allowed, b.cruise, std::sqrt(v0 * v0 + 2 * b.accel * b.length)});
    const double seconds = profile_seconds(b.length, v0, v1, b.cruise, b.accel) * time_scale_;
    out_.push_back({b.tag, now_s_, seconds});
    now_s_ += seconds;
    moving_s_ += seconds;
    v0 = v1;
  }
  entry_s_ = v0;
  waiting_.erase(waiting_.begin(), waiting_.begin() + std::ptrdiff_t(count));
  listener_.timed(out_);
}

void Clock::stop() {
  settle(true);
  has_last_ = false;
  entry_s_ = 0;
  settle_at_ = kBatch;
}

void Clock::pass(double seconds) {
  stop();
  now_s_ += seconds;
}

}  // namespace forewarm::motion
