// Dates and times of day by a local clock that is never set: every day has 24 hours.
//
// There are no time zones and no daylight-saving time: in a night in which clocks are set, times
// are off by an hour. Nothing here reads a clock. Dates are of the Gregorian calendar. Errors are
// of kind `usage`, with the expected form as a hint.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/error.h"

namespace forewarm::report {

constexpr std::int64_t kDayS = 86'400;

struct LocalTime {
  std::int64_t s = 0;  // since 1970-01-01T00:00 by the same clock
  bool operator==(const LocalTime&) const = default;
};

// Hours of every day, from `from` up to but not including `to`; across midnight where `from` is the
// later.
struct Away {
  int from_min = 0, to_min = 0;  // of the day; not equal; to_min may be 1440
  [[nodiscard]] bool covers(LocalTime time) const;
};

// "2027-03-05T18:00", or with a blank in place of the T, in the years 1970 to 9999.
[[nodiscard]] Result<LocalTime> parse_start(std::string_view text);
// "22:00-07:00"
[[nodiscard]] Result<Away> parse_away(std::string_view text);

// The time `seconds` later, rounded down to a second; no later than the year 9999.
[[nodiscard]] LocalTime later(LocalTime time, double seconds);

[[nodiscard]] std::string date(LocalTime time);         // "2027-03-05"
[[nodiscard]] std::string date_time(LocalTime time);    // "2027-03-05T18:04:09"
[[nodiscard]] std::string date_minute(LocalTime time);  // "2027-03-05T18:04"
[[nodiscard]] int hour(LocalTime time);                 // 0 to 23
[[nodiscard]] std::string hours(const Away& away);      // "22:00-07:00"

}  // namespace forewarm::report
