#include "motion/clock.h"

#include <algorithm>
#include <cmath>

namespace forewarm::motion {

namespace {

double larger(double a, double b) { return a > b ? a : b; }
double smaller(double a, double b) { return a < b ? a : b; }

// The speed at which a corner between two directions of travel can be taken by jerk: each axis may
// step by its jerk; an axis that turns round steps to rest and from rest, one after the other. So
// its step is the smaller one of the difference and of the larger of the two.
double corner_by_jerk(const std::array<double, 4>& from, const std::array<double, 4>& to,
                      double speed, const std::array<double, 4>& per_jerk) {
  double most = 1e-9;  // jerks that an axis steps by at 1 mm/s
  for (std::size_t a = 0; a < 4; ++a) {
    const double turned = larger(std::abs(from[a]), std::abs(to[a]));
    most = larger(most, smaller(std::abs(from[a] - to[a]), turned) * per_jerk[a]);
  }
  return smaller(speed, 1 / most);  // which one it is cannot be foreseen: no branch
}

double corner_by_deviation(const std::array<double, 4>& from, const std::array<double, 4>& to,
                           double accel, double deviation) {
  const double along = from[0] * to[0] + from[1] * to[1] + from[2] * to[2];
  if (along <= -1 + 1e-9) return 0;
  const double s = std::sqrt(std::max(0.0, 0.5 * (1 + along)));  // sin of half the inner angle
  if (s >= 1 - 1e-12) return 1e9;
  return std::sqrt(accel * deviation * s / (1 - s));
}

// profile_seconds() with what its caller has at hand. gain2 = 2 a d, v0_2 and v1_2 the squares.
double seconds_of(double d, double v0, double v1, double v, double a, double gain2, double v0_2,
                  double v1_2) {
  const double peak = std::sqrt(larger(0, (gain2 + v0_2 + v1_2) / 2));
  const bool reached = peak > v;
  const double top = larger(larger(reached ? v : peak, v0), v1);
  const double ramps = (2 * v * v - v0_2 - v1_2) / (2 * a);
  const double cruised = reached ? larger(0, d - ramps) : 0;
  // ((top - v0) + (top - v1)) / a + cruised / top, by one division.
  return (((top - v0) + (top - v1)) * top + cruised * a) / (a * top);
}

}  // namespace

double profile_seconds(double d, double v0, double v1, double v, double a) {
  return seconds_of(d, v0, v1, v, a, 2 * a * d, v0 * v0, v1 * v1);
}

Clock::Clock(const Limits& limits, Listener& listener, double time_scale)
    : limits_(limits), listener_(listener), time_scale_(time_scale) {
  waiting_.reserve(kMost);
  out_.reserve(kMost);
}

void Clock::derive() {
  constexpr double kHardest = 1e18;  // of a limit that allows nothing; times 0 it has to be 0
  for (std::size_t a = 0; a < 4; ++a) {
    per_speed_[a] = smaller(1 / limits_.max_speed[a], kHardest);
    per_accel_[a] = smaller(1 / limits_.max_accel[a], kHardest);
    per_jerk_[a] = smaller(1 / limits_.jerk[a], kHardest);
  }
  stale_ = false;
}

void Clock::move(const Move& m, std::uint64_t tag) {
  if (stale_) derive();
  const bool filament_alone = m.length_mm <= 0;
  const double length = filament_alone ? std::abs(m.delta[3]) : m.length_mm;
  ++taken_;
  if (!(length > 0)) {
    // Nothing to travel, but its place in the order counts: deliver it in turn, without time.
    waiting_.push_back({0, 1, 1, 0, HUGE_VAL, 0, tag});
    if (waiting_.size() >= settle_at_) settle(false);
    return;
  }
  const bool prints = m.delta[3] > 0 && !filament_alone;

  const double per_mm = 1 / length;
  std::array<double, 4> unit;
  double of_speed = 0;  // of each axis' limit, the most that is used at 1 mm/s and 1 mm/s2
  double of_accel = 0;
  double of_jerk = 1e-9;
  for (std::size_t a = 0; a < 4; ++a) {
    unit[a] = m.delta[a] * per_mm;
    const double share = std::abs(unit[a]);
    of_speed = larger(of_speed, share * per_speed_[a]);
    of_accel = larger(of_accel, share * per_accel_[a]);
    of_jerk = larger(of_jerk, share * per_jerk_[a]);
  }
  double cruise =
      larger(m.feed_mm_s * limits_.speed_factor,
             prints || filament_alone ? limits_.min_print_speed : limits_.min_travel_speed);
  double accel = filament_alone ? limits_.accel_retract
                 : prints       ? limits_.accel_print
                                : limits_.accel_travel;
  if (cruise * of_speed > 1) cruise = 1 / of_speed;
  if (accel * of_accel > 1) accel = 1 / of_accel;
  cruise = larger(cruise, 1e-3);
  const bool by_deviation = limits_.junction_deviation > 0;
  const double safe = by_deviation ? 0 : smaller(1 / of_jerk, cruise);

  double corner = safe;
  if (has_last_) {
    const double speed = smaller(cruise, last_cruise_);
    if (by_deviation) {
      corner =
          filament_alone || (last_unit_[0] == 0 && last_unit_[1] == 0 && last_unit_[2] == 0)
              ? 0
              : std::min(speed, corner_by_deviation(last_unit_, unit, std::min(accel, last_accel_),
                                                    limits_.junction_deviation));
    } else {
      // Stopping and starting within jerk is always open.
      corner = larger(corner_by_jerk(last_unit_, unit, speed, per_jerk_),
                      smaller(smaller(safe, last_safe_), speed));
    }
  }
  // Moves of no length may wait already: they have no part in where motion begins.
  if (!has_last_) entry2_ = corner * corner;
  has_last_ = true;
  last_unit_ = unit;
  last_cruise_ = cruise;
  last_safe_ = safe;
  last_accel_ = accel;
  waiting_.push_back({length, accel, cruise, 2 * accel * length, corner * corner, 0, tag});
  if (waiting_.size() >= settle_at_) settle(false);
}

void Clock::settle(bool at_end) {
  if (waiting_.empty()) return;
  // Backwards: how fast each corner may be entered if the path ends where it is known to. Short of
  // the end nothing is known of the corner to come, so rest is assumed: what is certain from there
  // stays certain whatever comes. Moves of no length gain nothing and have no corner.
  double next2 = at_end ? last_safe_ * last_safe_ : 0;
  std::size_t certain = 0;  // blocks before the last corner that no later move can make faster
  double certain_exit2 = 0;
  for (std::size_t i = waiting_.size(); i-- > 0;) {
    Block& b = waiting_[i];
    next2 = b.entry2 = smaller(b.entry_most2, next2 + b.gain2);
    if (certain == 0 && i > 0 && next2 >= b.entry_most2) {
      certain = i;
      certain_exit2 = next2;
    }
  }
  if (at_end) {
    deliver(waiting_.size(), last_safe_ * last_safe_);
  } else if (certain > 0) {
    deliver(certain, certain_exit2);
  } else if (waiting_.size() >= kMost) {
    const std::size_t half = waiting_.size() / 2;
    deliver(half, waiting_[half].entry2);
  }
  settle_at_ = std::min(kMost, waiting_.size() + kBatch);
}

// Forwards over the first `count` blocks: acceleration from the speed before bounds the next entry.
void Clock::deliver(std::size_t count, double exit2) {
  out_.resize(count);
  double v0_2 = entry2_;
  double v0 = std::sqrt(v0_2);
  for (std::size_t i = 0; i < count; ++i) {
    const Block& b = waiting_[i];
    if (b.length <= 0) {
      out_[i] = {b.tag, now_s_, 0};
      continue;
    }
    const double allowed2 = i + 1 < count ? waiting_[i + 1].entry2 : exit2;
    if (b.entry2 < v0_2) {
      v0_2 = b.entry2;
      v0 = std::sqrt(v0_2);
    }
    const double v1_2 = smaller(smaller(allowed2, b.cruise * b.cruise), v0_2 + b.gain2);
    const double v1 = std::sqrt(v1_2);
    const double seconds =
        seconds_of(b.length, v0, v1, b.cruise, b.accel, b.gain2, v0_2, v1_2) * time_scale_;
    out_[i] = {b.tag, now_s_, seconds};
    now_s_ += seconds;
    moving_s_ += seconds;
    v0_2 = v1_2;
    v0 = v1;
  }
  entry2_ = v0_2;
  waiting_.erase(waiting_.begin(), waiting_.begin() + std::ptrdiff_t(count));
  listener_.timed(out_);
}

void Clock::stop() {
  settle(true);
  has_last_ = false;
  entry2_ = 0;
  settle_at_ = kBatch;
}

void Clock::pass(double seconds) {
  stop();
  now_s_ += seconds;
}

}  // namespace forewarm::motion
