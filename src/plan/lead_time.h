// How early a preheat has to stand, so that its use is late no more often than the rules allow.
//
// A preheat stands before a line of the job, so only what happens between that line and the use can
// go wrong: the modelled time, what parking, picking and exchanging take, and the heater. Each is
// taken to be normally distributed about its modelled value, independently, with the standard
// deviations of [gap]. These give the shortest lead that keeps the share `on_time` of uses
// punctual:
//   lead = heat + z * sqrt((time_error * moving)^2 + changes^2 + heater^2)
// with z the standard normal quantile of on_time, `moving` the part of the lead that is not
// spent in changes. Propagation of errors as in Taylor, An Introduction to Error Analysis, ch. 3
// (from memory). Errors of time for which that has no solution, or a very long one, are bounded:
// z * time_error counts as kMaxTimeShare at most. With lead_stretch or lead_extra_s given, lead =
// heat * (1 + stretch) + extra.
//
// Pure. Seconds and degrees Celsius.
#pragma once

#include <limits>
#include <span>
#include <string>

#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

// Of a lead's moving part, what errors of modelled time add at most: it comes to no more than twice
// what heating takes of it. Common practice, no source.
constexpr double kMaxTimeShare = 0.5;
// Says so where the rules ask for more; else empty.
[[nodiscard]] std::string bounded_lead(const rules::GapSettings& gap);

// A stretch of time that is not modelled motion: parking, picking and exchanging, with its
// variance.
struct ChangeoverTime {
  double from_s, to_s;
  double variance_s2;
};
[[nodiscard]] double variance_of(const rules::GapSettings& gap, bool parks, bool picks,
                                 bool exchanges);

// The seconds by which full drive from `from_c` to `to_c` takes longer for each standard deviation
// `error` (a share) of what full drive adds to ambient. Heating slows down towards its end, so that
// is not the same for each: it is the mean of the first `z` of them, or of one, if z is less.
[[nodiscard]] double heat_spread_s(const thermal::Hotend& hotend, double from_c, double to_c,
                                   double error, double z);

class LeadTimeModel {
 public:
  explicit LeadTimeModel(const rules::GapSettings& gap);
  [[nodiscard]] bool plain() const { return plain_; }
  // The lead in seconds from `from_c`, where it is held or cooling, to `to_c`, with `changes_s` of
  // it spent in changes whose variances sum to `variance_s2`. Infinity if the heater never gets
  // there. If it is more than `has_s`, how much more does not matter: that saves working it out.
  [[nodiscard]] double lead_s(const thermal::Hotend& hotend, double from_c, bool held, double to_c,
                              double changes_s, double variance_s2,
                              double has_s = std::numeric_limits<double>::infinity()) const;
  // The same of heating that takes `heat_s` by itself, whatever the heater does at the preheat.
  [[nodiscard]] double lead_of_s(double heat_s, const thermal::Hotend& hotend, double from_c,
                                 double to_c, double changes_s, double variance_s2) const;

 private:
  bool plain_;
  double stretch_, extra_s_;
  double z_, time_error_, heater_error_;
};

}  // namespace forewarm::plan
