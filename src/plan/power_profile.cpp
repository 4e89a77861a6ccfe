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
  constexpr std::size_t kMaxPlaced = 256;
  if (placed_.size() > kMaxPlaced) {
    placed_.erase(placed_.begin(), placed_.end() - std::ptrdiff_t(kMaxPlaced / 2));
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

// All loads in [from_s, to_s) but those of `heater`.
void PowerProfile::find_near(double from_s, double to_s, std::size_t heater) const {
  near_.clear();
  const auto keep = [&](const PowerLoad& load) {
    if (heater != kOther && load.heater == heater) return;
    if (load.from_s < to_s && load.to_s > from_s) near_.push_back(load);
  };
  for (const PowerLoad& load : placed_) keep(load);
  for (auto at = first_fixed(from_s); at != fixed_.end() && at->from_s < to_s; ++at) keep(*at);
}

std::optional<double> PowerProfile::clash(double from_s, double to_s,
                                          const PreheatTask& task) const {
  find_near(from_s, to_s, task.heater);
  std::optional<double> first;
  const auto look = [&](double t) {
    if (first && *first <= t) return;
    double watts = task.watts;
    for (const PowerLoad& load : near_) {
      if (load.from_s <= t && t < load.to_s) watts += load.watts;
    }
    if (!within_limit(watts)) first = t;
  };
  look(from_s);
  for (const PowerLoad& load : near_) {
    if (load.from_s > from_s) look(load.from_s);
  }
  return first;
}

double PowerProfile::next_end(double t) const {
  double next = std::numeric_limits<double>::infinity();
  const auto look = [&](const PowerLoad& load) {
    if (load.to_s > t) next = std::min(next, load.to_s);
  };
  for (const PowerLoad& load : placed_) look(load);
  for (auto at = first_fixed(t); at != fixed_.end() && at->from_s <= next; ++at) look(*at);
  return next;
}

}  // namespace forewarm::plan
