// Temperature reports of the RepRap convention, as M105 has them and hosts keep them:
//
//   ok T:201.0 /202.0 B:117.0 /120.0 T0:201.0 /202.0 T1:34.8 /0.0 @:64 B@:0 @0:64 @1:0
//
// (public wiki, M105; targets, duties and numbers from memory.) T is the hotend in use, T0 that of
// heater 0, @0 what its output stands at. Beds and chambers mean nothing here. Pure; no allocation.
#pragma once

#include <array>
#include <optional>
#include <string_view>

namespace forewarm::record {

struct HotendReport {
  int heater = -1;  // -1: the one in use
  double temp_c = 0;
  std::optional<double> target_c, duty;
};

struct TemperatureReport {
  static constexpr std::size_t kMost = 32;
  std::array<HotendReport, kMost> list;
  std::size_t count = 0;
  bool numbered = false;  // some have a number
};

// False where the line is none: `report` means nothing then.
[[nodiscard]] bool read_report(std::string_view line, TemperatureReport& report);

}  // namespace forewarm::record
