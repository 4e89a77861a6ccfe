#include "plan/lead_time.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/statistics.h"

namespace forewarm::plan {

std::string bounded_lead(const rules::GapSettings& gap) {
  if (gap.plain_lead() || normal_quantile(gap.on_time) * gap.time_error <= kMaxTimeShare) return {};
  return fmt::format(
      "time_error = {:g} with on_time = {:g} asks for leads out of all proportion: errors of time "
      "add as much as heating takes, and no more",
      gap.time_error, gap.on_time);
}

double variance_of(const rules::GapSettings& gap, bool parks, bool picks, bool exchanges) {
  const double park = gap.park_spread_s * gap.park_spread_s;
  return (parks ? park : 0) + (picks ? park : 0) +
         (exchanges ? gap.exchange_spread_s * gap.exchange_spread_s : 0);
}

namespace {

// With what it takes as modelled, undriven before, as that is known.
double spread_beside(double heat, const thermal::Hotend& hotend, double from_c, double to_c,
                     double error, double z) {
  if (error <= 0 || from_c >= to_c || !std::isfinite(heat)) return 0;
  const double deviations = std::max(1.0, z);
  thermal::Hotend weak = hotend;
  const double adds = hotend.full_drive_c - hotend.ambient_c;
  // A heater that would hardly get there any more is not planned for: its lead would have no end.
  weak.full_drive_c = std::max(hotend.full_drive_c - deviations * error * adds,
                               to_c + 0.05 * (hotend.full_drive_c - to_c));
  return std::max(0.0, (thermal::seconds_to_heat(weak, from_c, to_c) - heat) / deviations);
}

}  // namespace

double heat_spread_s(const thermal::Hotend& hotend, double from_c, double to_c, double error,
                     double z) {
  return spread_beside(thermal::seconds_to_heat(hotend, from_c, to_c), hotend, from_c, to_c, error,
                       z);
}

LeadTimeModel::LeadTimeModel(const rules::GapSettings& gap)
    : plain_(gap.plain_lead()),
      stretch_(gap.lead_stretch.value_or(rules::GapSettings::kLeadStretch)),
      extra_s_(gap.lead_extra_s.value_or(rules::GapSettings::kLeadExtraS)),
      z_(plain_ ? 0 : normal_quantile(gap.on_time)),
      time_error_(gap.time_error),
      heater_error_(gap.heater_error) {}

double LeadTimeModel::lead_s(const thermal::Hotend& hotend, double from_c, bool held, double to_c,
                             double changes_s, double variance_s2, double has_s) const {
  const double heat = held ? thermal::seconds_to_heat_held(hotend, from_c, to_c)
                           : thermal::seconds_to_heat(hotend, from_c, to_c);
  if (heat > has_s) return heat;
  return lead_of_s(heat, hotend, from_c, to_c, changes_s, variance_s2);
}

double LeadTimeModel::lead_of_s(double heat, const thermal::Hotend& hotend, double from_c,
                                double to_c, double changes_s, double variance_s2) const {
  if (plain_) return heat * (1 + stretch_) + extra_s_;
  if (z_ <= 0 || !std::isfinite(heat)) return heat;
  const double undriven = thermal::seconds_to_heat(hotend, from_c, to_c);
  const double spread = spread_beside(undriven, hotend, from_c, to_c, heater_error_, z_);
  const double rest = variance_s2 + spread * spread;
  // With m the moving part: m + changes = heat + z sqrt(e^2 m^2 + rest), a quadratic in m.
  const double e = std::min(z_ * time_error_, kMaxTimeShare);
  const double h = heat - changes_s;
  const double k = 1 - e * e;
  const double moving = (h + std::sqrt(std::max(0.0, h * h - k * (h * h - z_ * z_ * rest)))) / k;
  if (moving >= 0) return changes_s + moving;
  return heat + z_ * std::sqrt(rest);  // all of it is spent in changes
}

}  // namespace forewarm::plan
