// A job without filament movement, by which a machine shows what its rule file has to say of it:
// `forewarm calibrate --make-job`.
//
// Each toolhead is selected and its heater driven up to `to_c`, held there for a while and switched
// off; all of it three times, again after the last has cooled to kCoolShare of its rise above
// ambient. One heater is driven at a time. Then each toolhead is parked and picked kRounds times,
// all heaters off, in turn and back, and with `exchanges` each feeder exchanges each of its
// filaments, hot, kLeastExchanges times at least in all. Echoes stand around all of it, as
// record.h reads them: [dialect] echo, else kEchoUnlessGiven. Their numbers count the selects, none
// of which is redundant.
//
// Pure: makes the text, without a header. Kind `usage`: to_c is out of range for a heater, or the
// rules do not name their toolheads.
#pragma once

#include <string>
#include <vector>

#include "base/error.h"
#include "rules/rules.h"

namespace forewarm::record {

// A cool-down to a quarter tells its time constant; five changes are what review asks for
// (review/suggest.h). Common practice, no source.
inline constexpr double kCoolShare = 0.25;
inline constexpr int kRounds = 5, kLeastExchanges = 5;
// Common practice, no source: what is safe for a nozzle with filament in it, for a while.
inline constexpr double kUsualToC = 200;
// Less of a climb is almost straight, and tells too little.
inline constexpr double kLeastRiseC = 80;
inline constexpr const char* kEchoUnlessGiven = "M118 {text}";

struct MeasuringJob {
  double to_c = kUsualToC;
  bool exchanges = false;
  std::string length = {};  // how long it takes, in words; empty: not known yet
};

// What the job is given where nobody asks for a temperature: kUsualToC, or less where a heater has
// to stay below that.
[[nodiscard]] double usual_to_c(const rules::Rules& rules);

// What whoever prints it has to know, a sentence each.
[[nodiscard]] std::vector<std::string> cautions(const rules::Rules& rules,
                                                const MeasuringJob& question);
[[nodiscard]] Result<std::string> measuring_job(const rules::Rules& rules,
                                                const MeasuringJob& question);

// The first line of any such job.
inline constexpr const char* kMeasuringJobTitle = "; measuring job of forewarm calibrate";

}  // namespace forewarm::record
