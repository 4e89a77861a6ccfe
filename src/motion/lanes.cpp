#include "motion/lanes.h"

#include <algorithm>
#include <cmath>
#include <numbers>

// The loops below for several kinds of processors; which is taken is decided when the program
// starts. Instrumented programs do without: they are not ready by then.
#if defined(__x86_64__) && defined(__GLIBC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define FOREWARM_LANES __attribute__((target_clones("avx512f", "avx2", "default")))
#else
#define FOREWARM_LANES
#endif

namespace forewarm::motion {

namespace {

double larger(double a, double b) { return a > b ? a : b; }
double smaller(double a, double b) { return a < b ? a : b; }

// What a move is limited to by itself.
FOREWARM_LANES void limit(Lanes& l, std::size_t count, const Rates& rates) {
  const std::array<double, 4> per_speed = rates.per_speed;
  const std::array<double, 4> per_accel = rates.per_accel;
  const std::array<double, 4> per_jerk = rates.per_jerk;
  for (std::size_t i = 0; i < count; ++i) {
    const double length = std::sqrt(l.square[i]);
    const double per_mm = 1 / length;
    const double x = l.delta[0][i] * per_mm;
    const double y = l.delta[1][i] * per_mm;
    const double z = l.delta[2][i] * per_mm;
    const double e = l.delta[3][i] * per_mm;
    // Of each axis' limit, the most that is used at 1 mm/s and 1 mm/s2.
    const auto most = [&](const std::array<double, 4>& per, double least) {
      return larger(larger(larger(larger(least, std::abs(x) * per[0]), std::abs(y) * per[1]),
                           std::abs(z) * per[2]),
                    std::abs(e) * per[3]);
    };
    const double of_speed = most(per_speed, 0);
    const double of_accel = most(per_accel, 0);
    const double of_jerk = most(per_jerk, 1e-9);
    const double cruise_most = 1 / of_speed;
    const double accel_most = 1 / of_accel;
    const double feed = l.feed[i];
    const double asked = l.accel_asked[i];
    const double cruise = larger(feed * of_speed > 1 ? cruise_most : feed, 1e-3);
    const double accel = asked * of_accel > 1 ? accel_most : asked;
    l.unit[0][i + 1] = x;
    l.unit[1][i + 1] = y;
    l.unit[2][i + 1] = z;
    l.unit[3][i + 1] = e;
    l.cruise[i + 1] = cruise;
    l.safe[i + 1] = smaller(1 / of_jerk, cruise);
    l.accel[i + 1] = accel;
    l.length[i] = length;
    l.gain2[i] = 2 * accel * length;
  }
}

// The speed at which a corner between two directions of travel can be taken by jerk: each axis may
// step by its jerk; an axis that turns round steps to rest and from rest, one after the other. So
// its step is the smaller one of the difference and of the larger of the two.
FOREWARM_LANES void corners_by_jerk(Lanes& l, std::size_t count, const Rates& rates) {
  const std::array<double, 4> per_jerk = rates.per_jerk;
  for (std::size_t i = 0; i < count; ++i) {
    double most = 1e-9;  // jerks that an axis steps by at 1 mm/s
    const auto step = [&](std::size_t a) {
      const double from = l.unit[a][i];
      const double to = l.unit[a][i + 1];
      const double turned = larger(std::abs(from), std::abs(to));
      most = larger(most, smaller(std::abs(from - to), turned) * per_jerk[a]);
    };
    step(0);
    step(1);
    step(2);
    step(3);
    const double speed = smaller(l.cruise[i + 1], l.cruise[i]);
    // Stopping and starting within jerk is always open.
    const double stopping = smaller(smaller(l.safe[i + 1], l.safe[i]), speed);
    const double corner = larger(smaller(speed, 1 / most), stopping);
    l.entry_most2[i] = corner * corner;
  }
}

// On a circle that touches both legs: v^2 = pull * s/(1-s).
double by_circle(const std::array<double, 3>& from, const std::array<double, 3>& to, double pull) {
  const double along = from[0] * to[0] + from[1] * to[1] + from[2] * to[2];
  if (along <= -1 + 1e-9) return 0;
  const double s = std::sqrt(std::max(0.0, 0.5 * (1 + along)));  // sin of half the inner angle
  if (s >= 1 - 1e-12) return 1e9;
  return std::sqrt(pull * s / (1 - s));
}

// `pull`, of the lower acceleration of the two legs.
template <class Pull>
void corners_by_circle(Lanes& l, std::size_t count, Pull pull) {
  const auto direction = [&](std::size_t i) {
    return std::array<double, 3>{l.unit[0][i], l.unit[1][i], l.unit[2][i]};
  };
  constexpr std::array<double, 3> kNowhere{};  // the filament alone
  for (std::size_t i = 0; i < count; ++i) {
    const auto from = direction(i);
    const auto to = direction(i + 1);
    double corner = 0;
    if (from != kNowhere && to != kNowhere) {
      corner = std::min(std::min(l.cruise[i + 1], l.cruise[i]),
                        by_circle(from, to, pull(std::min(l.accel[i + 1], l.accel[i]))));
    }
    l.entry_most2[i] = corner * corner;
  }
}

// gain2 = 2 a d, v0_2 and v1_2 the squares of the speeds.
inline double trapezoid(double d, double v0, double v1, double v, double a, double gain2,
                        double v0_2, double v1_2) {
  const double peak = std::sqrt(larger(0, (gain2 + v0_2 + v1_2) / 2));
  const bool reached = peak > v;
  const double top = larger(larger(reached ? v : peak, v0), v1);
  const double ramps = (2 * v * v - v0_2 - v1_2) / (2 * a);
  const double cruised = larger(0, d - ramps);
  // ((top - v0) + (top - v1)) / a + cruised / top, by one division.
  return (((top - v0) + (top - v1)) * top + (reached ? cruised : 0) * a) / (a * top);
}

}  // namespace

Rates Rates::of(const Limits& limits) {
  constexpr double kHardest = 1e18;  // of a limit that allows nothing; times 0 it has to be 0
  Rates r;
  for (std::size_t a = 0; a < 4; ++a) {
    r.per_speed[a] = smaller(1 / limits.max_speed[a], kHardest);
    r.per_accel[a] = smaller(1 / limits.max_accel[a], kHardest);
    r.per_jerk[a] = smaller(1 / limits.jerk[a], kHardest);
  }
  r.accel[kTravels] = limits.accel_travel;
  r.accel[kPrints] = limits.accel_print;
  r.accel[kFilamentAlone] = limits.accel_retract;
  r.least_speed[kTravels] = limits.min_travel_speed;
  r.least_speed[kPrints] = r.least_speed[kFilamentAlone] = limits.min_print_speed;
  r.speed_factor = limits.speed_factor;
  r.junction_deviation = limits.junction_deviation;
  r.corner_pull = limits.right_angle * limits.right_angle * (std::numbers::sqrt2 - 1);
  return r;
}

void bound(Lanes& lanes, std::size_t count, const Rates& rates, bool begins) {
  limit(lanes, count, rates);
  if (rates.corner_pull > 0) {
    std::fill_n(lanes.safe.begin() + 1, count, 0.0);
    corners_by_circle(lanes, count, [&](double) { return rates.corner_pull; });
  } else if (rates.junction_deviation > 0) {
    std::fill_n(lanes.safe.begin() + 1, count, 0.0);
    corners_by_circle(lanes, count, [&](double accel) { return accel * rates.junction_deviation; });
  } else {
    corners_by_jerk(lanes, count, rates);
  }
  if (begins) lanes.entry_most2[0] = lanes.safe[1] * lanes.safe[1];
  for (auto& axis : lanes.unit) axis[0] = axis[count];
  lanes.cruise[0] = lanes.cruise[count];
  lanes.safe[0] = lanes.safe[count];
  lanes.accel[0] = lanes.accel[count];
}

FOREWARM_LANES void seconds_of(const Trapezoids& t, std::size_t count, double* __restrict seconds) {
  for (std::size_t i = 0; i < count; ++i) {
    const double v0 = std::sqrt(t.v0_2[i]);
    const double v1 = std::sqrt(t.v1_2[i]);
    const double s =
        trapezoid(t.length[i], v0, v1, t.cruise[i], t.accel[i], t.gain2[i], t.v0_2[i], t.v1_2[i]);
    seconds[i] = t.length[i] > 0 ? s : 0;
  }
}

double profile_seconds(double d, double v0, double v1, double v, double a) {
  return trapezoid(d, v0, v1, v, a, 2 * a * d, v0 * v0, v1 * v1);
}

}  // namespace forewarm::motion
