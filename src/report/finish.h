// When a job will really be done: what possible stops add to it, by simulation.
//
// A stop lasts until somebody notices it and clears it. `notice_s` counts the seconds in which
// somebody is there, that is, outside the hours away; then it takes `clear_s` more. A stop at 21:55
// with 600 s and away 22:00-07:00 is noticed at 07:05. The clock of a stop is the start, the plan's
// wall time at the stop, and what the stops before it added.
//
// A trial goes through all stops in order; each happens or not by a draw of its own, which depends
// on the seed, the trial and the stop's `draw` alone. So all starts, and all rule files for a job,
// see the same faults, and their differences are not those of luck. The generator is SplitMix64:
// Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014; constants as
// in the reference code that its authors placed in the public domain, from memory.
//
// Because a stop that begins later never ends earlier, no start ends before an earlier one does.
//
// Percentiles are by nearest rank: of n ends in order, the one at ceil(p n). Times are whole
// milliseconds within; sums are exact. Pure, the same on any machine.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "report/calendar.h"

namespace forewarm::report {

constexpr std::uint64_t kTrials = 4000;
constexpr std::uint64_t kSeed = 1;

struct PossibleStop {
  double at_s = 0;         // by the plan, waits included
  double odds = 0;         // 1: it is certain
  std::uint64_t draw = 0;  // which draw decides it; no other stop has it
};

struct FinishProblem {
  std::vector<PossibleStop> stops;  // ascending at_s
  double duration_s = 0;            // of the job, without any stop
  std::vector<Away> away;           // not the whole day
  double notice_s = 0, clear_s = 0;
  std::uint64_t trials = kTrials, seed = kSeed;
};

struct Finish {
  double mean_s = 0, mean_error_s = 0;     // since the start; its standard error
  double p10_s = 0, p50_s = 0, p90_s = 0;  // likewise
  double lost_s = 0;                       // what stops add, on average
  std::optional<double> chance_done_by;    // absent: not asked for
};

struct MeanFinish {
  LocalTime start;
  double mean_s = 0, lost_s = 0;
};

struct Finishing {
  Finish given;  // as started at the first of the starts
  // Of all starts: with the least expected end, of equals the last, which is the shortest; and with
  // the least expected time, of equals the first.
  MeanFinish earliest, shortest;
  std::vector<MeanFinish> starts;
  std::uint64_t trials = 0, seed = 0;
};

// REQUIRES: at least one start, ascending; trials > 0.
[[nodiscard]] Finishing finishing(const FinishProblem& problem, std::span<const LocalTime> starts,
                                  std::optional<LocalTime> done_by = std::nullopt);

// When the machine goes on after a stop at that time, in milliseconds since 1970.
class StopClock {
 public:
  StopClock(std::span<const Away> away, double notice_s, double clear_s);
  [[nodiscard]] std::int64_t goes_on_ms(std::int64_t stopped_ms) const;

 private:
  struct There {
    std::int64_t from_ms, to_ms, before_ms;  // of the day; `before`: somebody was there until then
  };
  [[nodiscard]] std::int64_t noticed_ms(std::int64_t stopped_ms) const;

  std::vector<There> there_;  // in order
  std::int64_t day_ms_ = 0;   // of a day in which somebody is there
  std::int64_t notice_ms_, clear_ms_;
};

// From 0 up to but not including 1.
[[nodiscard]] double draw(std::uint64_t seed, std::uint64_t trial, std::uint64_t index);

}  // namespace forewarm::report
