#include "check/surroundings.h"

#include <algorithm>
#include <cmath>

namespace forewarm::check {

namespace {

// The standard normal quantile, by Newton's method from the middle outwards; share >= 0.5.
double quantile(double share) {
  constexpr double kRootTwoPi = 2.5066282746310002;
  double z = 0;
  for (int i = 0; i < 200; ++i) {
    const double tail = 0.5 * std::erfc(z / std::sqrt(2.0));
    const double step = (tail - (1 - share)) * kRootTwoPi * std::exp(z * z / 2);
    z += std::clamp(step, -0.5, 0.5);
    if (std::abs(step) < 1e-13) break;
  }
  return z;
}

double drive_seconds(thermal::HeaterState heater, double to_c, bool settled) {
  if (heater.temperature_c() >= to_c) return 0;
  heater.set_target(to_c);
  return heater.seconds_until_warm(to_c, settled);
}

}  // namespace

Surroundings::Surroundings(const rules::Rules& rules) : rules_(rules) {
  if (!rules.gap.plain_lead()) z_ = quantile(rules.gap.on_time);
}

double Surroundings::spread_s2(bool parks, bool picks, bool exchanges) const {
  const rules::GapSettings& g = rules_.gap;
  return (double(parks) + double(picks)) * std::pow(g.park_spread_s, 2) +
         double(exchanges) * std::pow(g.exchange_spread_s, 2);
}

void Surroundings::changed(double from_s, double to_s, double variance_s2) {
  changes_.push_back({from_s, to_s, variance_s2});
}

void Surroundings::driven(std::size_t head, double from_s, double to_s, double warm_s,
                          double watts) {
  for (auto d = drives_.rbegin(); d != drives_.rend(); ++d) {
    if (d->head != head) continue;
    d->to_s = std::min(d->to_s, from_s);
    d->warm_s = std::min(d->warm_s, from_s);
    break;
  }
  if (to_s > from_s) drives_.push_back({head, from_s, to_s, warm_s, watts});
}

void Surroundings::forget_before(double time_s) {
  constexpr std::size_t kWorthIt = 4096;
  if (changes_.size() > kWorthIt) {
    std::erase_if(changes_, [time_s](const Change& c) { return c.to_s < time_s; });
  }
  if (drives_.size() > kWorthIt) {
    std::erase_if(drives_, [time_s](const Drive& d) { return d.warm_s < time_s; });
  }
}

double Surroundings::lead_s(const thermal::Hotend& hotend, const thermal::HeaterState& from,
                            double to_c, double at_s, double need_s, bool settles) const {
  const rules::GapSettings& g = rules_.gap;
  const double from_c = from.temperature_c();
  const double heat = drive_seconds(from, to_c, settles);
  const double from_cold = drive_seconds(thermal::HeaterState(hotend, from_c), to_c, settles);
  if (g.plain_lead()) {
    return heat * (1 + g.lead_stretch.value_or(g.kLeadStretch)) +
           g.lead_extra_s.value_or(g.kLeadExtraS);
  }
  if (!std::isfinite(heat)) return heat;
  double changes_s = 0;
  double variance = 0;
  constexpr double kTouchS = 0.01;
  for (auto c = changes_.rbegin(); c != changes_.rend() && c->to_s > at_s; ++c) {
    if (c->from_s < at_s - kTouchS || c->to_s > need_s + kTouchS) continue;
    changes_s += c->to_s - c->from_s;
    variance += c->variance_s2;
  }
  const double moving = std::max(0.0, need_s - at_s - changes_s);
  // Errors of time add no more than heating takes, however sure a use is to be.
  constexpr double kMaxTimeShare = 0.5;
  variance += std::pow(std::min(g.time_error, kMaxTimeShare / std::max(z_, 1e-9)) * moving, 2);
  if (from_c < to_c) {
    const double deviations = std::max(1.0, z_);
    thermal::Hotend weak = hotend;
    weak.full_drive_c = std::max(hotend.full_drive_c - deviations * g.heater_error *
                                                           (hotend.full_drive_c - hotend.ambient_c),
                                 to_c + 0.05 * (hotend.full_drive_c - to_c));
    variance += std::pow(
        (drive_seconds(thermal::HeaterState(weak, from_c), to_c, settles) - from_cold) / deviations,
        2);
  }
  return heat + z_ * std::sqrt(variance);
}

double Surroundings::drawn_w(double time_s) const {
  double watts = 0;
  for (const Drive& d : drives_) {
    if (d.from_s <= time_s && time_s < d.to_s) watts += d.watts;
  }
  return watts;
}

bool Surroundings::power_free(std::size_t head, double watts, double from_s, double to_s) const {
  if (!limited()) return true;
  // Those that only just miss each other leave no room either: drives are known to rounding.
  constexpr double kApartS = 1;
  const auto room_at = [&](double t) {
    double drawn = watts;
    for (const Drive& d : drives_) {
      if (d.head != head && d.from_s <= t && t < d.warm_s) drawn += d.watts;
    }
    return drawn <= limit_w() + 1e-9;
  };
  if (!room_at(from_s - kApartS)) return false;
  return std::all_of(drives_.begin(), drives_.end(), [&](const Drive& d) {
    return d.from_s <= from_s - kApartS || d.from_s >= to_s + kApartS || room_at(d.from_s);
  });
}

}  // namespace forewarm::check
