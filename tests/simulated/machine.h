// Plays a job on a simulated machine, line by line, as firmware does: lines are read ahead of the
// motion that they add to, and some of them wait until that motion is over. What it did is the
// Truth.
//
// Read: G0 to G3, G4, G20, G21, G28, G90 to G92, T, M82, M83, M0, M104, M109, M110, M118, M140,
// M190, M201, M203, M204, M205, M220, M400. All else is counted in `left_aside` and takes no time.
//
// A select waits for motion, parks the toolhead that is mounted, picks the other, and has its
// feeder exchange the filament, if another one is loaded. The first filament that a job uses in
// each toolhead is loaded already; none is mounted, unless the job uses one without a select: the
// first. Times and stops are drawn in the order of the events, each kind from a stream of its own.
#pragma once

#include <cstdint>
#include <istream>
#include <map>
#include <string>
#include <vector>

#include "description.h"
#include "record.h"

namespace simulated {

// Filament went through a nozzle that was colder than it was last waited for, or than its target
// when picked.
struct Feeds {
  double coldest_c = 1e9;  // of the sensor, without noise; over 1e8 where nothing was fed
  double cold_by_c = 0;    // the most that was missing
  void take(double sensor_c, double wanted_c);
};

struct ChangeTruth {
  long line = 0;
  int from_tool = -1, to_tool = 0;
  std::string kind;  // toolhead, filament, both
  double at_s = 0, park_s = 0, pick_s = 0, exchange_s = 0, stop_s = 0;
  Feeds exchange;  // through the nozzle, in the exchange
};

// From a toolhead being picked to it being parked.
struct UseTruth {
  std::string toolhead;
  int tool = 0;
  double from_s = 0, first_feed_s = -1, to_s = -1;
  double wait_s = 0;  // before its first feed
  double late_s = 0;  // of that, what is more than waits take when all is warm
  Feeds feeds;
};

struct WaitTruth {
  long line = 0;
  std::string cause;  // start, gap, exchange, use, end, bed
  int heater = 0;
  double target_c = 0, from_c = 0, at_s = 0, took_s = 0, late_s = 0;
};

struct StopTruth {
  long line = 0;
  double at_s = 0, took_s = 0;
  std::string after;  // pick, exchange, or asked
};

struct Truth {
  std::uint64_t seed = 0;
  long lines = 0;
  double print_from_s = -1;  // the first line that is printed
  double end_s = 0;
  std::map<std::string, double>
      time_by_cause;  // moving, park_pick, exchange, waiting, stops, other
  std::map<std::string, double> wait_by_cause;
  std::vector<ChangeTruth> changes;
  std::vector<UseTruth> uses;
  std::vector<WaitTruth> waits;
  std::vector<StopTruth> stops;
  std::map<std::string, double>
      hot_idle_s;  // by toolhead, parked and not selected, from print_from_s on
  std::map<std::string, double> full_drive_s;  // by toolhead; each at full drive counts fully
  std::map<std::string, int> left_aside;
  std::string gave_up;  // why the job was not played to the end; empty if it was
};

Truth play(const Description& description, std::uint64_t seed, std::istream& job, Record& record,
           const std::string& sent);  // "none", "commands": all but moves, "all"

nlohmann::ordered_json json_of(const Truth& truth);

}  // namespace simulated
