#include "record/approach.h"

#include <algorithm>
#include <cmath>

#include "base/statistics.h"

namespace forewarm::record {

namespace {

using thermal::Estimate;
using thermal::Fit;

// Common practice, no source, all three.
constexpr double kFull = 0.98;           // more drive than this is full
constexpr double kMostHold = 0.9;        // where holding takes as much, there is little to fall
constexpr std::size_t kLeastDrives = 5;  // readings between full and what holds
constexpr int kHalvings = 60;

}  // namespace

std::optional<Estimate> approach_by_climbs(const HeaterStretches& h, const Fit& fit) {
  const double full_c = fit.full_drive_c.value, tau_s = fit.time_constant_s.value;
  const auto seconds = [&](const Climb& c, double approach_c) {
    const double at_full_s =
        tau_s * std::log((full_c - c.from_c) / (full_c - c.target_c + approach_c));
    const double decay_s = tau_s / (1 + (full_c - c.target_c) / approach_c);
    return fit.dead_time_s.value + std::max(0.0, at_full_s) +
           decay_s * std::log(approach_c / h.reached_c);
  };
  std::vector<Climb> climbs;
  for (const Climb& c : h.climbs) {
    if (c.target_c < full_c && c.target_c - c.from_c > kMostApproachC) climbs.push_back(c);
  }
  if (climbs.size() < kLeastClimbs) return std::nullopt;
  const auto short_by_s = [&](double approach_c) {
    double sum = 0;
    for (const Climb& c : climbs) sum += c.seconds - seconds(c, approach_c);
    return sum / double(climbs.size());
  };
  double low = h.reached_c, high = kMostApproachC;
  if (short_by_s(low) <= 0 || short_by_s(high) >= 0) return std::nullopt;
  for (int i = 0; i < kHalvings; ++i) {
    const double middle = (low + high) / 2;
    (short_by_s(middle) > 0 ? low : high) = middle;
  }
  std::vector<double> off;
  for (const Climb& c : climbs) off.push_back(c.seconds - seconds(c, low));
  const double by_c = (short_by_s(low * 0.99) - short_by_s(low)) / (0.01 * low);
  return Estimate{low, moments(off).sd / std::sqrt(double(off.size())) / by_c};
}

std::optional<Estimate> approach_by_drive(const HeaterStretches& h, const Fit& fit) {
  double xx = 0, xy = 0, yy = 0;
  std::size_t n = 0;
  for (const Found& f : h.heat_ups) {
    if (!f.target_c) continue;
    const double hold = (*f.target_c - fit.ambient_c.value) / fit.rise_c.value;
    if (hold <= 0 || hold >= kMostHold) continue;
    bool full = false;
    for (const thermal::Reading& r : f.stretch.readings) {
      full = full || r.drive > kFull;
      if (!full || r.drive > kFull || r.drive <= hold || r.temperature_c >= *f.target_c) continue;
      const double x = (1 - hold) * (*f.target_c - r.temperature_c), y = r.drive - hold;
      xx += x * x;
      xy += x * y;
      yy += y * y;
      ++n;
    }
  }
  if (n < kLeastDrives || xy <= 0) return std::nullopt;
  const double slope = xy / xx;
  const double slope_sd = std::sqrt(std::max(0.0, yy - slope * xy) / double(n - 1) / xx);
  return Estimate{1 / slope, slope_sd / (slope * slope)};
}

}  // namespace forewarm::record
