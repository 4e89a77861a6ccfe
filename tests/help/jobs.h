// A small machine and jobs in a few lines, for tests.
#pragma once

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

// Both fail the test on text that is refused.
rules::Rules rules_of(const std::string& toml);
job::Job scan_of(const std::string& text, const rules::Rules& rules);

Result<job::Job> try_scan(const std::string& text, const rules::Rules& rules,
                          std::size_t most = SIZE_MAX, std::size_t chunk = 1U << 20U);

// Printing for `seconds` at 10 mm/s, a line every two seconds at most.
std::string print(double seconds);

}  // namespace forewarm::test
