// Writes the log that a host would keep of a print: each line with its time, reports of
// temperatures as the RepRap convention has them (M105), echoes, stops, and what was sent, where
// that is asked for.
//
//   [12.300] ok T:201.0 /202.0 B:60.0 /60.0 T0:201.0 /202.0 T1:150.1 /150.0 @:64 B@:30 @0:64 @1:20
//
// Drive (@) is 0 to 127. T: and @: are those of the mounted toolhead, T0: is heater 0. While the
// machine waits, it reports by itself, without `ok`. A line that was sent stands behind "> ". A
// stop begins with a line "stopped: WHY" and ends with "goes on".
#pragma once

#include <ostream>
#include <string>
#include <string_view>
#include <vector>

namespace simulated {

// [12.300], 18:00:12.300 (which begins again at midnight), or 2027-03-05T18:00:12.300.
enum class Times { seconds, clock, stamp };

struct Reading {
  int heater = 0;  // -1: the bed
  double read_c = 0, target_c = 0, drive = 0;
  bool mounted = false;
};

class Record {
 public:
  // `start` is YYYY-MM-DDTHH:MM:SS, the moment 0. `out` and `csv` may be null. Throws on a bad
  // start.
  Record(std::ostream* out, std::ostream* csv, Times times, const std::string& start);

  void say(double at_s, std::string_view text);
  void report(double at_s, const std::vector<Reading>& readings, bool waiting);

 private:
  [[nodiscard]] std::string time_text(double at_s) const;

  std::ostream *out_, *csv_;
  Times times_;
  long long start_ms_ = 0;  // since 1970, local
};

}  // namespace simulated
