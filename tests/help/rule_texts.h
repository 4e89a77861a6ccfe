// Rule files for tests, as texts to which tables can be added.
#pragma once

namespace forewarm::test {

// Two toolheads with a tool each.
inline constexpr const char* kTwoToolheads = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";

}  // namespace forewarm::test
