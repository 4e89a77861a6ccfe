#include "record/regime.h"

#include <algorithm>
#include <cmath>

#include "rules/rules.h"

namespace forewarm::record {

namespace {

using thermal::Reading;
using thermal::Stretch;

constexpr std::size_t kMost = 160, kLeast = 12;  // readings that are looked at, in all and a side
constexpr int kSplits = 12;

double span_of(const std::vector<Reading>& readings) {
  const auto [low, high] = std::minmax_element(
      readings.begin(), readings.end(),
      [](const auto& a, const auto& b) { return a.temperature_c < b.temperature_c; });
  return readings.empty() ? 0 : high->temperature_c - low->temperature_c;
}

// What is left of a heat-up without its dead time at one end, and the thermostat's doing at the
// other; of a cool-down, all.
std::vector<Reading> steady(const Stretch& stretch) {
  const auto& all = stretch.readings;
  double most = 0;
  for (const Reading& r : all) most = std::max(most, r.drive);
  if (most <= 0) return all;
  const double span_c = span_of(all), low_c = all.front().temperature_c;
  const auto from = std::find_if(all.begin(), all.end(), [&](const Reading& r) {
    return r.temperature_c > low_c + span_c / 10;
  });
  const auto to =
      std::find_if(from, all.end(), [&](const Reading& r) { return r.drive < 0.9 * most; });
  return {from, to};
}

std::optional<double> rss_of(std::vector<Reading> readings, std::optional<double> ambient_c) {
  Stretch s;
  s.drive_before = readings.front().drive;
  s.readings = std::move(readings);
  // Where it is to be fitted, a room's will do: both sides and the whole are held against the same.
  const double about_c = ambient_c.value_or(rules::Machine{}.ambient_c);
  const auto fit = thermal::fit({s}, {.ambient_c = about_c, .dead_time = false});
  return fit ? std::optional(fit->rss) : std::nullopt;
}

}  // namespace

bool keep_one_regime(Stretch& stretch, std::optional<double> ambient_c) {
  std::vector<Reading> all = steady(stretch);
  if (all.size() < 4 * kLeast) return false;
  std::vector<Reading> few;
  const std::size_t each = (all.size() + kMost - 1) / kMost;
  for (std::size_t i = 0; i < all.size(); i += each) few.push_back(all[i]);
  if (few.size() < 2 * kLeast + 2) return false;
  const auto whole = rss_of(few, ambient_c);
  const double fine_c = kFineShare * span_of(few);
  if (!whole || *whole <= fine_c * fine_c * double(few.size())) return false;

  double least = kBetter * *whole;
  std::optional<double> at_s;
  const std::size_t room = few.size() - 2 * kLeast;
  for (int i = 0; i <= kSplits; ++i) {
    const auto split = few.begin() + std::ptrdiff_t(kLeast + room * std::size_t(i) / kSplits);
    const auto a = rss_of({few.begin(), split}, ambient_c);
    const auto b = rss_of({split, few.end()}, ambient_c);
    if (a && b && *a + *b < least) {
      least = *a + *b;
      at_s = split->time_s;
    }
  }
  if (!at_s) return false;
  // The change itself lies up to a step of the search away: that much of the kept side goes, too.
  const double margin_s = (few.back().time_s - few.front().time_s) / kSplits / 2;
  std::vector<Reading> before, after;
  for (const Reading& r : stretch.readings) {
    if (r.time_s < *at_s - margin_s) before.push_back(r);
    if (r.time_s > *at_s + margin_s) after.push_back(r);
  }
  const bool first = span_of(before) >= span_of(after);
  if (!first) {
    // From when on its drive was what it is, the model need not know: its start is its own.
    stretch.drive_before = after.empty() ? 0 : after.front().drive;
    stretch.drive_since_s.reset();
  }
  stretch.readings = first ? std::move(before) : std::move(after);
  return true;
}

}  // namespace forewarm::record
