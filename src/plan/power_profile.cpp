#include "plan/power_profile.h"

#include <algorithm>

namespace forewarm::plan {

PowerProfile::PowerProfile(const std::vector<PowerLoad>& fixed, double limit_w)
    : fixed_(fixed), limit_w_(limit_w) {
  std::sort(fixed_.begin(), fixed_.end(),
            [](const PowerLoad& a, const PowerLoad& b) { return a.from_s < b.from_s; });
  for (const PowerLoad& load : fixed_) longest_s_ = std::max(longest_s_, load.to_s - load.from_s);
}

void PowerProfile::add(const PowerLoad& load) {
  placed_.push_back(load);
  lowest_s_ = std::min(lowest_s_, load.from_s);
}

void PowerProfile::remove_last(std::size_t count) {
  placed_.erase(placed_.end() - std::ptrdiff_t(count), placed_.end());
}

void PowerProfile::forget_old() {
  if (placed_.size() > 2 * kRemembered) {
    placed_.erase(placed_.begin(), placed_.end() - std::ptrdiff_t(kRemembered));
  }
}

// No fixed load before this one reaches to `from_s`.
std::vector<PowerLoad>::const_iterator PowerProfile::first_fixed(double from_s) const {
  return std::lower_bound(fixed_.begin(), fixed_.end(), from_s - longest_s_ - kApartS,
                          [](const PowerLoad& load, double t) { return load.from_s < t; });
}

bool PowerProfile::idle(double from_s, double to_s) const {
  if (to_s > lowest_s_) return false;
  for (auto at = first_fixed(from_s); at != fixed_.end() && at->from_s < to_s; ++at) {
    if (at->to_s > from_s) return false;
  }
  return true;
}

void PowerProfile::find_near(double from_s, double to_s, std::size_t heater,
                             std::vector<PowerLoad>& into) const {
  const auto keep = [&](const PowerLoad& load) {
    if (heater != kOther && load.heater == heater) return;
    if (load.from_s < to_s && load.to_s > from_s) into.push_back(load);
  };
  for (const PowerLoad& load : placed_) keep(load);
  for (auto at = first_fixed(from_s); at != fixed_.end() && at->from_s < to_s; ++at) keep(*at);
}

std::optional<double> first_clash(std::span<const PowerLoad> loads, double from_s, double to_s,
                                  double watts, double limit_w) {
  // Who begins when another ends does not overlap it by rounding.
  constexpr double kRoundingS = 1e-6;
  if (to_s <= from_s) return std::nullopt;
  std::optional<double> first;
  const auto look = [&](double t) {
    if (first && *first <= t) return;
    double drawn = watts;
    for (const PowerLoad& load : loads) {
      if (load.from_s <= t && t < load.to_s - kRoundingS) drawn += load.watts;
    }
    if (!within_limit(drawn, limit_w)) first = t;
  };
  look(from_s);
  for (const PowerLoad& load : loads) {
    if (load.from_s > from_s && load.from_s < to_s) look(load.from_s);
  }
  return first;
}

}  // namespace forewarm::plan
