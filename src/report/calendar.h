// Dates and times of day by a local clock that is never set: every day has 24 hours.
//
// There are no time zones and no daylight-saving time: in a night in which clocks are set, times
// are off by an hour. Nothing here reads a clock. Dates are of the Gregorian calendar. Errors are
// of kind `usage`, with the expected form as a hint.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "rules/day_hours.h"
#include "rules/rules.h"

namespace forewarm::report {

constexpr std::int64_t kDayS = 86'400;

struct LocalTime {
  std::int64_t s = 0;  // since 1970-01-01T00:00 by the same clock
  bool operator==(const LocalTime&) const = default;
};

// Hours of every day in which nobody is at the machine.
struct Away : rules::DayHours {
  [[nodiscard]] bool covers(LocalTime time) const;
};

// "2027-03-05T18:00", or with a blank in place of the T, in the years 1970 to 9999.
// Messages name the option.
[[nodiscard]] Result<LocalTime> parse_time(const char* option, std::string_view text);
[[nodiscard]] Result<LocalTime> parse_start(std::string_view text);  // of --start
// "22:00-07:00"
[[nodiscard]] Result<Away> parse_away(std::string_view text);
// The hours of a rule file that has been loaded.
[[nodiscard]] std::vector<Away> away_of(const rules::AttentionSettings& settings);
// Whether somebody is never at the machine.
[[nodiscard]] bool whole_day(const std::vector<Away>& away);

// The time `seconds` later, rounded down to a second; no later than the year 9999.
[[nodiscard]] LocalTime later(LocalTime time, double seconds);

[[nodiscard]] std::string date(LocalTime time);         // "2027-03-05"
[[nodiscard]] std::string date_time(LocalTime time);    // "2027-03-05T18:04:09"
[[nodiscard]] std::string date_minute(LocalTime time);  // "2027-03-05T18:04"
[[nodiscard]] int hour(LocalTime time);                 // 0 to 23
[[nodiscard]] std::string hours(const Away& away);      // "22:00-07:00"

}  // namespace forewarm::report
