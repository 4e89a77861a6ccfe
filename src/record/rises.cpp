#include "record/rises.h"

#include <algorithm>
#include <cmath>

#include "base/statistics.h"

namespace forewarm::record {

namespace {

using thermal::Estimate;
using thermal::Reading;
using thermal::Stretch;

// The drive as it acts, dead_time_s later than it is given.
class ActingDrive {
 public:
  ActingDrive(const Stretch& stretch, double dead_time_s)
      : stretch_(stretch), dead_time_s_(dead_time_s) {
    begins_s_ = stretch.drive_since_s.value_or(stretch.readings.front().time_s);
  }
  // Over the time from `from_s`, up to `to_s` or when it changes, whichever is first. Ascending.
  double next(double from_s, double to_s, double& until_s) {
    const auto& r = stretch_.readings;
    const double at_s = from_s - dead_time_s_;
    until_s = to_s;
    if (at_s < begins_s_) {
      until_s = std::min(to_s, begins_s_ + dead_time_s_);
      return stretch_.drive_before;
    }
    while (i_ + 1 < r.size() && r[i_ + 1].time_s <= at_s) ++i_;
    if (i_ + 1 < r.size()) until_s = std::min(to_s, r[i_ + 1].time_s + dead_time_s_);
    return r[i_].drive;
  }

 private:
  const Stretch& stretch_;
  double dead_time_s_, begins_s_ = 0;
  std::size_t i_ = 0;
};

// T - ambient = start decay(t) + rise driven(t), by least squares.
std::optional<Estimate> rise_of(const Stretch& stretch, const thermal::Fit& fit) {
  constexpr double kLeastStepS = 1e-6;  // rounding makes no step
  const double tau_s = fit.time_constant_s.value;
  if (stretch.readings.size() < 4) return std::nullopt;
  ActingDrive drive(stretch, fit.dead_time_s.value);
  double decay = 1, driven = 0, now_s = stretch.readings.front().time_s;
  double dd = 0, dr = 0, rr = 0, dy = 0, ry = 0, yy = 0;
  for (const Reading& reading : stretch.readings) {
    while (now_s < reading.time_s - kLeastStepS) {
      double until_s = 0;
      const double u = drive.next(now_s + kLeastStepS / 2, reading.time_s, until_s);
      until_s = std::max(until_s, now_s + kLeastStepS);
      const double keeps = std::exp(-(until_s - now_s) / tau_s);
      decay *= keeps;
      driven = u + (driven - u) * keeps;
      now_s = until_s;
    }
    const double y = reading.temperature_c - fit.ambient_c.value;
    dd += decay * decay;
    dr += decay * driven;
    rr += driven * driven;
    dy += decay * y;
    ry += driven * y;
    yy += y * y;
  }
  const double det = dd * rr - dr * dr;
  if (!(det > 1e-12 * dd * rr)) return std::nullopt;
  const double start = (rr * dy - dr * ry) / det, rise = (dd * ry - dr * dy) / det;
  const double rss = std::max(0.0, yy - start * dy - rise * ry);
  const double variance = rss / double(stretch.readings.size() - 2) * dd / det;
  if (!(rise > 0)) return std::nullopt;
  return Estimate{rise, std::sqrt(variance)};
}

}  // namespace

std::optional<RiseSpread> spread_of_rises(const std::vector<Stretch>& heat_ups,
                                          const thermal::Fit& fit) {
  std::vector<double> rises;
  double noise = 0;
  for (const Stretch& s : heat_ups) {
    const auto rise = rise_of(s, fit);
    if (!rise || rise->sd > kTellsRise * rise->value) continue;
    rises.push_back(rise->value);
    noise += rise->sd * rise->sd;
  }
  if (rises.size() < 2) return std::nullopt;
  const Moments m = moments(rises);
  const double variance = m.sd * m.sd - noise / double(rises.size());
  return RiseSpread{std::sqrt(std::max(0.0, variance)) / m.mean, rises.size()};
}

}  // namespace forewarm::record
