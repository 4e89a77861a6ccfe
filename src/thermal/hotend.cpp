#include "thermal/hotend.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace forewarm::thermal {
namespace {

constexpr double kNever = std::numeric_limits<double>::infinity();
constexpr double kNoEnd = std::numeric_limits<double>::quiet_NaN();

// Every regime is an exponential approach to some temperature: to ambient undriven, to
// full_drive_c at full drive, to the target near it, to where it already is when held. lerp() is
// exact at both ends and monotonic, so no stretch of time, however long or short, ends beyond its
// bounds.
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

// From the end of the dead time until `to_c` is reached.
double seconds_to_climb(const Hotend& h, double from_c, double to_c) {
  const double level_c = to_c - h.reached_c;
  if (h.reached_c > 0 && from_c >= level_c) return 0;
  const double band_c = to_c - h.approach_c;
  if (h.approach_c <= 0 || to_c >= h.full_drive_c || level_c <= band_c) {
    return seconds_of_approach(from_c, h.full_drive_c, level_c, h.time_constant_s);
  }
  const double to_band_s =
      from_c < band_c ? seconds_of_approach(from_c, h.full_drive_c, band_c, h.time_constant_s) : 0;
  return to_band_s +
         seconds_of_approach(std::max(from_c, band_c), to_c, level_c, h.approach_s(to_c));
}

// Whether nothing is left to do: it is at `to_c`, or it is within reached_c and stays there in the
// dead time, at the end of which it is at `dead_c`, and needs no settling.
bool is_there(const Hotend& h, double from_c, double dead_c, double to_c) {
  if (from_c >= to_c - kRoundingC) return true;
  return h.reached_c > 0 && h.settle_s <= 0 && dead_c >= to_c - h.reached_c - kRoundingC;
}

// Seconds above `threshold_c` within the first `seconds` of an approach.
double seconds_above(double threshold_c, double from_c, double toward_c, double seconds,
                     double time_constant_s) {
  if (from_c == threshold_c) return toward_c > from_c ? seconds : 0;
  const double crossing_s =
      std::min(seconds, seconds_of_approach(from_c, toward_c, threshold_c, time_constant_s));
  return from_c > threshold_c ? crossing_s : seconds - crossing_s;
}

// When, after cooling undriven from `from_c`, a drive takes hold at the latest that is to be done
// `gap_s` after the start; -kNever: never so late, or before the end of a dead time from the start.
// Cooling curve and climb meet there. With one time constant for both that is
//   full - (ambient + (from - ambient) e^(-turn/tau)) = (full - to) e^((gap - turn)/tau)
// solved for the turn, with e^(gap/tau), which could overflow, divided out. Else what comes later
// ends later, so bisection finds it.
double turn_s(const Hotend& h, double from_c, double to_c, double gap_s) {
  const bool one_law = h.cooling_s() == h.time_constant_s && h.driven_until_ready();
  if (one_law) {
    const double left =
        (h.full_drive_c - to_c) + (from_c - h.ambient_c) * std::exp(-gap_s / h.time_constant_s);
    const bool reachable = to_c < h.full_drive_c && left > 0;
    return reachable ? gap_s + h.time_constant_s * std::log(left / (h.full_drive_c - h.ambient_c))
                     : -kNever;
  }
  const auto in_time = [&](double turn) {
    return turn + seconds_to_climb(h, cooled_c(h, from_c, turn), to_c) + h.settle_s <= gap_s;
  };
  double early = h.dead_time_s;
  double late = gap_s;
  if (early > late || !in_time(early)) return -kNever;
  constexpr int kHalvings = 60;
  for (int i = 0; i < kHalvings; ++i) {
    const double middle = (early + late) / 2;
    (in_time(middle) ? early : late) = middle;
  }
  return early;
}

}  // namespace

double cooled_c(const Hotend& h, double from_c, double seconds) {
  return approach(from_c, h.ambient_c, seconds, h.cooling_s());
}

double seconds_to_cool(const Hotend& h, double from_c, double to_c) {
  if (from_c <= to_c) return 0;
  return seconds_of_approach(from_c, h.ambient_c, to_c, h.cooling_s());
}

double driven_c(const Hotend& h, double from_c, double seconds) {
  return approach(from_c, h.full_drive_c, seconds, h.time_constant_s);
}

double seconds_to_heat(const Hotend& h, double from_c, double to_c) {
  const double dead_c = cooled_c(h, from_c, h.dead_time_s);
  if (is_there(h, from_c, dead_c, to_c)) return 0;
  // Something colder than the room warms by itself, perhaps enough before the drive takes hold.
  const double unaided_s = seconds_of_approach(from_c, h.ambient_c, to_c, h.cooling_s());
  if (unaided_s <= h.dead_time_s) return unaided_s;
  return h.dead_time_s + seconds_to_climb(h, dead_c, to_c) + h.settle_s;
}

double seconds_to_heat_held(const Hotend& h, double from_c, double to_c) {
  if (is_there(h, from_c, from_c, to_c)) return 0;
  return h.dead_time_s + seconds_to_climb(h, from_c, to_c) + h.settle_s;
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
    const double preheat_s =
        gap_s - h.dead_time_s - seconds_to_climb(h, floor_c, to_c) - h.settle_s;
    if (preheat_s >= floor_from_s) return {floor_c, preheat_s, 0};
    if (floor_from_s == 0) return {floor_c, 0, -preheat_s};
  }

  // Else it is still cooling when commanded, and goes on to do so until the drive takes hold.
  const double preheat_s = std::min(gap_s, turn_s(h, from_c, to_c, gap_s) - h.dead_time_s);
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

// What goes on until the regime changes by itself, `seconds` from now, at `end_c`.
struct HeaterState::Phase {
  enum class Kind { off, coasting, dead_time, climb, approach, held };
  Kind kind;
  double toward_c;
  double time_constant_s;
  double seconds;
  double end_c;  // nothing but the end of a dead time: NaN
  double watts;
  double watts_per_c = 0;  // more, for what is left to the target

  [[nodiscard]] bool driven() const {
    return kind == Kind::dead_time || kind == Kind::climb || kind == Kind::approach;
  }
};

HeaterState::HeaterState(const Hotend& hotend, double temperature_c)
    : hotend_(hotend), temperature_c_(temperature_c) {}

HeaterState::Phase HeaterState::phase() const {
  using Kind = Phase::Kind;
  const Hotend& h = hotend_;
  const double tau_s = h.time_constant_s;
  const double cooling_s = h.cooling_s();
  if (target_c_ <= h.ambient_c) return {Kind::off, h.ambient_c, cooling_s, kNever, kNoEnd, 0};
  if (temperature_c_ > target_c_) {
    return {Kind::coasting, h.ambient_c,
            cooling_s,      seconds_of_approach(temperature_c_, h.ambient_c, target_c_, cooling_s),
            target_c_,      0};
  }
  // No thermostat holds what full drive cannot reach: there it drives on for ever.
  const bool reachable = target_c_ < h.full_drive_c;
  if (temperature_c_ == target_c_ && reachable) {
    return {Kind::held, temperature_c_, tau_s, kNever, kNoEnd, hold_w(h, temperature_c_)};
  }
  const bool approaches = h.approach_c > 0 && reachable;
  const double band_c = target_c_ - h.approach_c;
  const double held_w = approaches ? hold_w(h, target_c_) : 0;
  const double more_w_per_c = approaches ? (h.power_w - held_w) / h.approach_c : 0;
  if (dead_left_s_ > 0) {
    const double toward_c = was_held_ ? temperature_c_ : h.ambient_c;
    if (!approaches || temperature_c_ <= band_c) {
      return {Kind::dead_time, toward_c, cooling_s, dead_left_s_, kNoEnd, h.power_w};
    }
    const double leaves_s = seconds_of_approach(temperature_c_, toward_c, band_c, cooling_s);
    if (leaves_s < dead_left_s_) {
      return {Kind::dead_time, toward_c, cooling_s, leaves_s, band_c, held_w, more_w_per_c};
    }
    return {Kind::dead_time, toward_c, cooling_s, dead_left_s_, kNoEnd, held_w, more_w_per_c};
  }
  if (!approaches || temperature_c_ < band_c) {
    const double end_c = approaches ? band_c : target_c_;
    const double seconds =
        reachable ? seconds_of_approach(temperature_c_, h.full_drive_c, end_c, tau_s) : kNever;
    return {Kind::climb, h.full_drive_c, tau_s, seconds, end_c, h.power_w};
  }
  const double approach_s = h.approach_s(target_c_);
  return {Kind::approach,
          target_c_,
          approach_s,
          seconds_of_approach(temperature_c_, target_c_, target_c_ - kRoundingC, approach_s),
          target_c_,
          held_w,
          more_w_per_c};
}

// Within reached_c, a heater is held as far as its next drive is concerned.
void HeaterState::set_target(double target_c) {
  using Kind = Phase::Kind;
  const Phase before = phase();
  const bool reached =
      before.kind == Kind::approach && temperature_c_ >= target_c_ - hotend_.reached_c;
  const bool is_new = std::abs(target_c - target_c_) > kRoundingC;
  target_c_ = target_c;
  // The temperature that a rounding error leaves beside its target is at its target.
  const bool on = target_c > hotend_.ambient_c;
  if (on && std::abs(target_c - temperature_c_) <= kRoundingC) temperature_c_ = target_c;
  const bool driven = phase().driven();
  if (!driven) {
    dead_left_s_ = 0;
  } else if (!before.driven() || (reached && is_new)) {
    dead_left_s_ = hotend_.dead_time_s;
    was_held_ = before.kind == Kind::held || reached;
  }
  if (!on || temperature_c_ > target_c_) {
    settle_left_s_ = 0;
  } else if (driven && is_new) {
    settle_left_s_ = hotend_.settle_s;
  }
}

// A heater settles while it is where its target counts as reached.
void HeaterState::settle(double from_c, double toward_c, double time_constant_s, double seconds) {
  const double reached_c = target_c_ - hotend_.reached_c;
  const double before_s = from_c >= reached_c - kRoundingC
                              ? 0
                              : seconds_of_approach(from_c, toward_c, reached_c, time_constant_s);
  settle_left_s_ = std::max(0.0, settle_left_s_ - std::max(0.0, seconds - before_s));
}

HeaterUsage HeaterState::advance(double seconds, double threshold_c) {
  using Kind = Phase::Kind;
  HeaterUsage spent;
  spent.lowest_c = temperature_c_;
  // Ends after a few rounds (dead time, climb, approach, hold): a phase that runs its full length
  // is left for good, because its end is set, not computed. Runs once even for 0 s.
  do {
    const Phase now = phase();
    const double step_s = std::min(seconds, now.seconds);
    const double from_c = temperature_c_;
    spent.energy_j += now.watts * step_s;
    spent.above_s += seconds_above(threshold_c, from_c, now.toward_c, step_s, now.time_constant_s);
    if (now.driven() && now.watts_per_c == 0) spent.full_drive_s += step_s;
    if (settle_left_s_ > 0 && now.kind != Kind::dead_time) {
      settle(from_c, now.toward_c, now.time_constant_s, step_s);
    }

    temperature_c_ = approach(from_c, now.toward_c, step_s, now.time_constant_s);
    if (now.kind == Kind::dead_time) {
      dead_left_s_ -= step_s;
      if (step_s == now.seconds && !std::isnan(now.end_c)) temperature_c_ = now.end_c;
    } else if (now.seconds < kNever) {
      const bool arrived =
          step_s == now.seconds || std::abs(temperature_c_ - now.end_c) <= kRoundingC;
      if (arrived) temperature_c_ = now.end_c;
    }
    if (now.watts_per_c != 0) {
      // Of what is left to the target, the integral over the step.
      const double toward_s = now.time_constant_s * (temperature_c_ - from_c);
      spent.energy_j += now.watts_per_c * ((target_c_ - now.toward_c) * step_s + toward_s);
    }
    spent.lowest_c = std::min(spent.lowest_c, temperature_c_);
    seconds -= step_s;
  } while (seconds > 0);
  return spent;
}

bool HeaterState::full_drive() const {
  const Phase now = phase();
  return now.driven() && now.watts_per_c == 0;
}

double HeaterState::full_drive_s() const {
  HeaterState ahead = *this;
  double passed_s = 0;
  double full_until_s = 0;
  while (full_until_s < kNever) {
    const Phase now = ahead.phase();
    const bool full = now.driven() && now.watts_per_c == 0;
    if (!full && now.kind != Phase::Kind::dead_time) break;
    passed_s += now.seconds;
    if (full) full_until_s = passed_s;
    if (now.seconds < kNever) ahead.advance(now.seconds);
  }
  return full_until_s;
}

double HeaterState::seconds_until(double level_c, bool warming) const {
  HeaterState ahead = *this;
  double passed_s = 0;
  while (true) {
    const double still_c =
        warming ? level_c - ahead.temperature_c_ : ahead.temperature_c_ - level_c;
    if (still_c <= kRoundingC) return passed_s;
    const Phase now = ahead.phase();
    const double crossing_s =
        seconds_of_approach(ahead.temperature_c_, now.toward_c, level_c, now.time_constant_s);
    if (crossing_s <= now.seconds) return passed_s + crossing_s;  // also where both are kNever
    passed_s += now.seconds;
    ahead.advance(now.seconds);
  }
}

double HeaterState::seconds_until_at(double at_least_c) const {
  return seconds_until(at_least_c, true);
}

double HeaterState::seconds_until_cool(double at_most_c) const {
  return seconds_until(at_most_c, false);
}

// Whether it is on its way up to that, or there but not settled.
bool HeaterState::settles_at(double target_c) const {
  if (target_c_ <= hotend_.ambient_c || temperature_c_ > target_c_) return false;
  return target_c <= target_c_ - kRoundingC ? temperature_c_ < target_c - kRoundingC
                                            : settle_left_s_ > 0;
}

double HeaterState::seconds_until_warm(double at_least_c, bool settled) const {
  const double reached_c = at_least_c - hotend_.reached_c;
  const bool settles = settled && hotend_.settle_s > 0 && settles_at(at_least_c);
  const bool may_leave = hotend_.reached_c > 0 && dead_left_s_ > 0;
  if (!settles && !may_leave) return seconds_until(reached_c, true);
  HeaterState ahead = *this;
  double passed_s = 0;
  while (ahead.dead_left_s_ > 0) {
    const double step_s = ahead.phase().seconds;
    passed_s += step_s;
    ahead.advance(step_s);
  }
  if (!settles) {
    const double after_s = ahead.seconds_until(reached_c, true);
    return after_s > 0 ? passed_s + after_s : seconds_until(reached_c, true);
  }
  const double settle_s =
      at_least_c <= target_c_ - kRoundingC ? hotend_.settle_s : ahead.settle_left_s_;
  return passed_s + ahead.seconds_until(reached_c, true) + settle_s;
}

}  // namespace forewarm::thermal
