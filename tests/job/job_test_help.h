// A small machine and jobs in a few lines, for tests of job/ and plan/.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <string>

#include "job/scan.h"
#include "rules/load.h"

namespace forewarm::test {

// Two toolheads: ash (T0), and birch (T1, T2) with a feeder. Round numbers throughout.
inline const char* const kTwoHeads = R"(
version = 1
[machine]
ambient_c = 20
[[toolhead]]
name = "ash"
tools = [0]
heater = { index = 0, power_w = 50, full_drive_c = 420, time_constant_s = 200, dead_time_s = 2, max_c = 290 }
park_s = 6
pick_s = 4
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 1, power_w = 50, full_drive_c = 420, time_constant_s = 200, dead_time_s = 2, max_c = 290 }
park_s = 6
pick_s = 4
exchange_s = 30
[[filament]]
tool = 0
standby_c = 170
[[filament]]
tool = 1
standby_c = 170
[[filament]]
tool = 2
standby_c = 160
)";

inline rules::Rules rules_of(const std::string& toml) {
  auto rules = rules::load(toml, "test.toml");
  if (!rules) FAIL(render(rules.error()));
  return *rules;
}

inline Result<job::Job> try_scan(const std::string& text, const rules::Rules& rules,
                                 std::size_t most = SIZE_MAX, std::size_t chunk = 1U << 20U) {
  TextSource source(text, most);
  job::ScanOptions options;
  options.name = "job.gcode";
  options.chunk = chunk;
  return job::scan(source, rules, options);
}

inline job::Job scan_of(const std::string& text, const rules::Rules& rules) {
  auto job = try_scan(text, rules);
  if (!job) FAIL(render(job.error()));
  return *job;
}

// Printing for `seconds` at 10 mm/s, a line every two seconds at most.
inline std::string print(double seconds) {
  std::string out = "G91\n";
  int side = 1;
  for (double left = seconds; left > 0; left -= 2) {
    const double s = std::min(left, 2.0);
    out += "G1 X" + std::to_string(side * 10 * s) + " E" + std::to_string(s / 10) + " F600\n";
    side = -side;
  }
  return out + "G90\n";
}

}  // namespace forewarm::test
