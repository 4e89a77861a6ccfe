// A hotend's constants from what its sensor said: least squares without a starting guess.
//
// The model is that of hotend.h with any drive u from 0 to 1, held from one reading to the next:
// T'(t) = (ambient + rise u(t - dead_time) - T)/time_constant. For a given time constant and dead
// time all else (rise, ambient where it is asked for, and each stretch's own temperature at its
// start) is linear, and is eliminated (variable projection: Golub & Pereyra, SIAM J. Numer. Anal.
// 10, 1973). Of the two that are left, a grid is tried, and the best refined by Gauss-Newton with
// damping. Standard deviations are those of the linearised model, s^2 (J'J)^-1 with s^2 = rss/(n -
// parameters), as reference programs give them; they take errors for independent.
//
// With `own_rise`, each stretch that is driven has a rise of its own, as drives of one heater
// differ (mains voltage, a draught, a fan): it is linear too, and eliminated like the start. The
// rise told is their mean. Its deviation is that of a mean, by their spread, besides what noise and
// the shared constants make uncertain. Of one stretch that is driven, the rise is shared all the
// same.
//
// `robust` gives readings that are off by more than 1.5 standard deviations, as the median of
// absolute residuals tells them, less weight (Huber, k = 1.5), and is for records with outliers.
//
// Pure: the same readings give the same estimates. Errors are of kind `refused` and say what is
// missing. REQUIRES: finite readings, whose times do not go back within a stretch.
#pragma once

#include <limits>
#include <optional>
#include <vector>

#include "base/error.h"

namespace forewarm::thermal {

struct Reading {
  double time_s = 0;
  double temperature_c = 0;
  double drive = 0;  // 0 to 1, from now on until the next reading
};

struct Stretch {
  enum class Start {
    free,     // its temperature there is a parameter of its own
    ambient,  // at rest: at ambient, whatever that is
    given,    // at start_c, exactly
  };
  std::vector<Reading> readings = {};
  Start start = Start::free;
  double start_c = 0;
  std::optional<double> begin_s = {};  // when it starts; none: with its first reading
  double drive_before = 0;             // until the first reading, and before the start
  // Since when the drive is the first reading's, where that is seen some time after it began.
  std::optional<double> drive_since_s = {};
};

struct FitOptions {
  std::optional<double> ambient_c = {};  // none: it is fitted, too
  bool dead_time = true;                 // false: there is none
  bool robust = false;
  bool own_rise = false;
  // With own_rise: of stretches that are not driven, but were within a dead time before them. There
  // is too little of it there to tell one.
  double rise_c = 0;
};

struct Estimate {
  double value = 0;
  double sd = std::numeric_limits<double>::quiet_NaN();  // not finite where nothing can be told
};

struct Fit {
  bool driven = false;  // without, rise, full drive and dead time are not estimated
  Estimate rise_c;      // what full drive adds to ambient
  Estimate full_drive_c, time_constant_s, dead_time_s, ambient_c;
  double rss = 0;    // of all readings, unweighted
  double rms_c = 0;  // sqrt(rss/readings)
  std::size_t readings = 0, parameters = 0;
  std::vector<double> rises_c;  // of each stretch that is driven, where they are their own
  std::vector<double> start_c;  // of each stretch
  std::vector<std::vector<double>> residuals;  // reading less model, of each stretch
};

[[nodiscard]] Result<Fit> fit(const std::vector<Stretch>& stretches, const FitOptions& options);

}  // namespace forewarm::thermal
