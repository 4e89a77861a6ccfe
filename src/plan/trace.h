// How a plan's heaters fare over the whole job: temperatures, targets, power, and when the machine
// stands still. For pictures.
//
// Contract: everything comes from the replay that gives the plan its figures (simulate.h), so a
// picture drawn from it shows what they say. A temperature is a line through points; between them
// the model is no further than kTraceErrorC from the line, and where two points share a time, it is
// the later one's from then on. Grows with the number of changes of target. Wall seconds, degrees
// Celsius, watts. Pure.
#pragma once

#include <cstdint>
#include <vector>

#include "base/error.h"
#include "plan/drives.h"
#include "plan/plan.h"

namespace forewarm::plan {

constexpr double kTraceErrorC = 1;

struct Trace {
  struct Point {
    double at_s = 0, temp_c = 0;
  };
  struct Level {  // in force until the next one
    double at_s = 0, target_c = 0;
  };
  struct Heater {
    std::vector<Point> temperature;  // by at_s; the first at 0, the last at the end
    std::vector<Level> target;       // by at_s
  };
  // The machine stands still for a heater, or runs a step sequence.
  struct Stop {
    enum class Kind : std::uint8_t { wait, sequence, warm_wait };
    double from_s = 0, to_s = 0;
    std::uint32_t head = 0;  // of job.heads
    Kind kind = Kind::wait;
  };
  // What a toolhead spends parked, as Plan::gaps have it.
  struct Parked {
    double from_s = 0, to_s = 0;
    double hot_above_c = 0;  // hotter is hot idle
    std::uint32_t head = 0;  // of job.heads
  };
  std::vector<Heater> heaters;  // as job.heads
  std::vector<Parked> parked;   // by from_s
  std::vector<Stop> stops;      // by from_s; those that touch, for one heater, are one
  std::vector<Drive> drives;    // by from_s
};

// REQUIRES: the plan is of this job and these rules. Fails where making the plan would.
[[nodiscard]] Result<Trace> trace(const job::Job& job, const rules::Rules& rules, const Plan& plan);

}  // namespace forewarm::plan
