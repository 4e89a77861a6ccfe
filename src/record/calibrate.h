// A machine's heater constants from its record: what `forewarm calibrate` says.
//
// Heat-ups and cool-downs of each heater (stretches.h) are fitted together, with one time constant
// (thermal/fit.h). The cool-downs are also fitted by themselves. Where the heat-ups alone tell a
// time constant that differs from that of the cool-downs by more than kUnlikeDeviations and by more
// than kUnlikeShare, heating and cooling are not alike: then the heat-ups' own constants stand, and
// the cool-downs' beside them.
//
// Heat-ups that differ by more than kUnequalShare in what full drive adds, and by more than noise
// does, each have a rise of their own (thermal/fit.h, own_rise), and the mean is told.
//
// approach_c is told by climbs where it is known what counts as reached, else by the drive
// (approach.h).
//
// A stretch in which something changes midway, such as a fan, counts with its wider part
// (regime.h).
//
// Refused, with the reason, is a heater that was never driven, whose stretches span less than 20 C
// or have fewer than 20 samples, one that does not get warmer by its drive, one that the model
// leaves with more than kMostRmsC, and one whose time constant has a standard deviation of more
// than kLooseShare of itself: a short climb is almost straight, and only a cool-down tells it then.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "record/rises.h"
#include "record/stretches.h"

namespace forewarm::record {

// All but kUnequalF: common practice, no source.
inline constexpr double kLooseShare = 0.2;
inline constexpr double kUnlikeDeviations = 4, kUnlikeShare = 0.05;
// With more left, what was driven or read is something else than a heater.
inline constexpr double kMostRmsC = 8;
inline constexpr double kUnequalShare = 0.001;
// The F statistic of two heat-ups alike is above it in one of 600 records, were readings
// independent; of more heat-ups, in fewer (F distribution of 1 and many degrees of freedom).
inline constexpr double kUnequalF = 10;

struct CalibrateOptions {
  std::optional<double> ambient_c = {};  // none: it is fitted
  bool robust = false;
};

struct Calibration {
  Heater heater;
  std::string refused = {};  // why nothing is told; empty: all below is
  thermal::Estimate full_drive_c, time_constant_s, dead_time_s, ambient_c;
  // What the record may not tell.
  std::optional<thermal::Estimate> cool_time_constant_s, settle_s, approach_c;
  std::optional<RiseSpread> rise_spread;  // where its drive is known
  bool drive_known = true;                // else it is taken as full, and deviations say too little
  bool unlike = false;  // cooling is not like heating: its time constant is one of its own
  double rms_c = 0;
  std::uint64_t samples = 0, samples_in_all = 0;  // used, and there
  std::size_t heat_ups = 0, cool_downs = 0;       // used
  std::size_t settles = 0, climbs = 0;            // behind settle_s and approach_c
  double reached_c = 0;                           // what those two count as reached
  double step_s = 0;                              // between the samples of the heat-ups, on average
  std::vector<std::string> notes = {};            // sentences
  struct Residual {
    double time_s, residual_c;  // the reading less the model
    double temperature_c;       // the reading
  };
  std::vector<std::vector<Residual>> residuals = {};  // of each stretch, heat-ups first
};

// A key of [toolhead.heater] that the record tells, and how many stretches, settlings or climbs
// stand behind it.
struct ToldKey {
  const char* key;
  thermal::Estimate value;
  std::size_t observations;
};
// Those that a rule file should have, the dead time as uncertain as the time between two samples
// makes it: a cooling time constant only where it is one of its own, and approach_c only where
// climbs tell it, and what counted as reached where the rules' own, `reached_c`, is 0. REQUIRES:
// nothing is refused.
[[nodiscard]] std::vector<ToldKey> told_keys(const Calibration& heater, double reached_c);

[[nodiscard]] std::vector<Calibration> calibrate(const std::vector<HeaterStretches>& heaters,
                                                 const CalibrateOptions& options);

}  // namespace forewarm::record
