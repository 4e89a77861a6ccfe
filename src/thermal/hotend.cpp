#include "thermal/hotend.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace forewarm::thermal {
namespace {

constexpr double kNever = std::numeric_limits<double>::infinity();

// Every regime is an exponential approach to some temperature: to ambient undriven, to
// full_drive_c at full drive, to where it already is when held. lerp() is exact at both ends and
// monotonic, so no stretch of time, however long or short, ends beyond its bounds.
double approach(double from_c, double toward_c, double seconds, double time_constant_s) {
  return std::lerp(from_c, toward_c, -std::expm1(-seconds / time_constant_s));
}

// The inverse of approach(); kNever unless `to_c` lies on the way, short of its end. log1p keeps
// the last degrees before a target, which are told apart from it by few bits, from taking 0 s.
double seconds_of_approach(double from_c, double toward_c, double to_c, double time_constant_s) {
  if (to_c == from_c) return 0;
  const double ratio = (from_c - to_c) / (to_c - toward_c);
  return to_c != toward_c && ratio > 0 ? time_constant_s * std::log1p(ratio) : kNever;
}

double seconds_to_climb(const Hotend& h, double from_c, double to_c) {
  return seconds_of_approach(from_c, h.full_drive_c, to_c, h.time_constant_s);
}

// Seconds above `threshold_c` within the first `seconds` of an approach.
double seconds_above(double threshold_c, double from_c, double toward_c, double seconds,
                     double time_constant_s) {
  if (from_c == threshold_c) return toward_c > from_c ? seconds : 0;
  const double crossing_s =
      std::min(seconds, seconds_of_approach(from_c, toward_c, threshold_c, time_constant_s));
  return from_c > threshold_c ? crossing_s : seconds - crossing_s;
}

}  // namespace

double cooled_c(const Hotend& h, double from_c, double seconds) {
  return approach(from_c, h.ambient_c, seconds, h.time_constant_s);
}

double seconds_to_cool(const Hotend& h, double from_c, double to_c) {
  if (from_c <= to_c) return 0;
  return seconds_of_approach(from_c, h.ambient_c, to_c, h.time_constant_s);
}

double driven_c(const Hotend& h, double from_c, double seconds) {
  return approach(from_c, h.full_drive_c, seconds, h.time_constant_s);
}

double seconds_to_heat(const Hotend& h, double from_c, double to_c) {
  if (from_c >= to_c - kRoundingC) return 0;
  // Something colder than the room warms by itself, perhaps enough before the drive takes hold.
  const double unaided_s = seconds_of_approach(from_c, h.ambient_c, to_c, h.time_constant_s);
  if (unaided_s <= h.dead_time_s) return unaided_s;
  return h.dead_time_s + seconds_to_climb(h, cooled_c(h, from_c, h.dead_time_s), to_c);
}

double seconds_to_heat_held(const Hotend& h, double from_c, double to_c) {
  if (from_c >= to_c - kRoundingC) return 0;
  return h.dead_time_s + seconds_to_climb(h, from_c, to_c);
}

double hold_w(const Hotend& h, double at_c) {
  return h.power_w * std::clamp((at_c - h.ambient_c) / (h.full_drive_c - h.ambient_c), 0.0, 1.0);
}

Dip dip_of_gap(const Hotend& h, double from_c, double to_c, double floor_c, double gap_s) {
  if (from_c < to_c && from_c >= to_c - kRoundingC) from_c = to_c;
  // A floor that it starts below holds nothing: only a drive would bring it there.
  const bool has_floor = floor_c > h.ambient_c && from_c >= floor_c - kRoundingC;
  const double floor_from_s = has_floor ? seconds_to_cool(h, from_c, floor_c) : kNever;
  const auto undriven_c = [&](double at_s) {
    return at_s >= floor_from_s ? floor_c : cooled_c(h, from_c, at_s);
  };

  // Until it has cooled to `to_c` there is nothing to heat: commanded before then, it is simply
  // held once there, and no dead time passes below `to_c`.
  const bool starts_warm = from_c >= to_c;
  const bool floor_is_warm = has_floor && floor_c >= to_c;
  const double warm_until_s = !starts_warm    ? 0
                              : floor_is_warm ? kNever
                                              : seconds_to_cool(h, from_c, to_c);
  if (starts_warm && gap_s <= warm_until_s) return {undriven_c(gap_s), gap_s, 0};

  // The latest answer is the one from the floor, where the dead time passes at the floor.
  if (has_floor) {
    const double preheat_s = gap_s - h.dead_time_s - seconds_to_climb(h, floor_c, to_c);
    if (preheat_s >= floor_from_s) return {floor_c, preheat_s, 0};
    if (floor_from_s == 0) return {floor_c, 0, -preheat_s};
  }

  // Else it is still cooling when commanded, and goes on to do so until the drive takes hold at
  // `turn_s`. Cooling curve and climb meet there:
  //   full - (ambient + (from - ambient) e^(-turn/tau)) = (full - to) e^((gap - turn)/tau)
  // solved for `turn_s`, with e^(gap/tau), which could overflow, divided out.
  const double left =
      (h.full_drive_c - to_c) + (from_c - h.ambient_c) * std::exp(-gap_s / h.time_constant_s);
  const bool reachable = to_c < h.full_drive_c && left > 0;
  const double turn_s =
      reachable ? gap_s + h.time_constant_s * std::log(left / (h.full_drive_c - h.ambient_c))
                : -kNever;
  const double preheat_s = std::min(gap_s, turn_s - h.dead_time_s);
  if (starts_warm && preheat_s <= warm_until_s) return {to_c, warm_until_s, 0};
  if (preheat_s >= 0) {
    return {std::min(from_c, cooled_c(h, from_c, preheat_s + h.dead_time_s)), preheat_s, 0};
  }
  return {std::min(from_c, cooled_c(h, from_c, h.dead_time_s)), 0,
          std::max(0.0, seconds_to_heat(h, from_c, to_c) - gap_s)};
}

void HeaterUsage::add(const HeaterUsage& other) {
  energy_j += other.energy_j;
  above_s += other.above_s;
  full_drive_s += other.full_drive_s;
  lowest_c = std::min(lowest_c, other.lowest_c);
}

// What goes on until the regime changes by itself, `seconds` from now.
struct HeaterState::Phase {
  enum class Kind { off, coasting, dead_time, climb, held };
  Kind kind;
  double toward_c;
  double seconds;
  double watts;

  [[nodiscard]] bool full_drive() const { return kind == Kind::dead_time || kind == Kind::climb; }
};

HeaterState::HeaterState(const Hotend& hotend, double temperature_c)
    : hotend_(hotend), temperature_c_(temperature_c) {}

HeaterState::Phase HeaterState::phase() const {
  using Kind = Phase::Kind;
  const Hotend& h = hotend_;
  const auto seconds_to_target = [&](double toward_c) {
    return seconds_of_approach(temperature_c_, toward_c, target_c_, h.time_constant_s);
  };
  if (target_c_ <= h.ambient_c) return {Kind::off, h.ambient_c, kNever, 0};
  if (temperature_c_ > target_c_) {
    return {Kind::coasting, h.ambient_c, seconds_to_target(h.ambient_c), 0};
  }
  // No thermostat holds what full drive cannot reach: there it drives on for ever.
  const bool reachable = target_c_ < h.full_drive_c;
  if (temperature_c_ == target_c_ && reachable) {
    return {Kind::held, temperature_c_, kNever, hold_w(h, temperature_c_)};
  }
  if (dead_left_s_ > 0) {
    return {Kind::dead_time, was_held_ ? temperature_c_ : h.ambient_c, dead_left_s_, h.power_w};
  }
  return {Kind::climb, h.full_drive_c, reachable ? seconds_to_target(h.full_drive_c) : kNever,
          h.power_w};
}

void HeaterState::set_target(double target_c) {
  const Phase before = phase();
  target_c_ = target_c;
  // The temperature that a rounding error leaves beside its target is at its target.
  const bool on = target_c > hotend_.ambient_c;
  if (on && std::abs(target_c - temperature_c_) <= kRoundingC) temperature_c_ = target_c;
  if (!phase().full_drive()) {
    dead_left_s_ = 0;
  } else if (!before.full_drive()) {
    dead_left_s_ = hotend_.dead_time_s;
    was_held_ = before.kind == Phase::Kind::held;
  }
}

HeaterUsage HeaterState::advance(double seconds, double threshold_c) {
  const double time_constant_s = hotend_.time_constant_s;
  HeaterUsage spent;
  spent.lowest_c = temperature_c_;
  // Ends after three rounds at most (dead time, climb, hold): a phase that runs its full length
  // is left for good, because its end is set, not computed. Runs once even for 0 s.
  do {
    const Phase now = phase();
    const double step_s = std::min(seconds, now.seconds);
    spent.energy_j += now.watts * step_s;
    spent.above_s +=
        seconds_above(threshold_c, temperature_c_, now.toward_c, step_s, time_constant_s);
    if (now.full_drive()) spent.full_drive_s += step_s;

    temperature_c_ = approach(temperature_c_, now.toward_c, step_s, time_constant_s);
    if (now.kind == Phase::Kind::dead_time) {
      dead_left_s_ -= step_s;
    } else if (now.seconds < kNever) {
      const bool arrived =
          step_s == now.seconds || std::abs(temperature_c_ - target_c_) <= kRoundingC;
      if (arrived) temperature_c_ = target_c_;
    }
    spent.lowest_c = std::min(spent.lowest_c, temperature_c_);
    seconds -= step_s;
  } while (seconds > 0);
  return spent;
}

bool HeaterState::full_drive() const { return phase().full_drive(); }

double HeaterState::seconds_until(double level_c, bool warming) const {
  HeaterState ahead = *this;
  double passed_s = 0;
  while (true) {
    const double still_c =
        warming ? level_c - ahead.temperature_c_ : ahead.temperature_c_ - level_c;
    if (still_c <= kRoundingC) return passed_s;
    const Phase now = ahead.phase();
    const double crossing_s =
        seconds_of_approach(ahead.temperature_c_, now.toward_c, level_c, hotend_.time_constant_s);
    if (crossing_s <= now.seconds) return passed_s + crossing_s;  // also where both are kNever
    passed_s += now.seconds;
    ahead.advance(now.seconds);
  }
}

double HeaterState::seconds_until_warm(double at_least_c) const {
  return seconds_until(at_least_c, true);
}

double HeaterState::seconds_until_cool(double at_most_c) const {
  return seconds_until(at_most_c, false);
}

}  // namespace forewarm::thermal
