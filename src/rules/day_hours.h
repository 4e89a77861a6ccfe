// Hours of every day, as text and as minutes: "22:00-07:00".
//
// Pure. Errors are a message and a hint, for the caller to place.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>

namespace forewarm::rules {

constexpr int kDayMinutes = 1440;

// From `from_min` up to but not including `to_min`; across midnight where the first is the later.
struct DayHours {
  int from_min = 0, to_min = 0;  // of the day; not equal; to_min may be 1440
  bool operator==(const DayHours&) const = default;
};

// "18:45", and "24:00" for the end of the day, as minutes of it; nothing where it is no such time.
[[nodiscard]] std::optional<int> minute_of_day(std::string_view text);

// Reads "22:00-07:00"; else what is wrong, and the form to write.
[[nodiscard]] std::optional<std::pair<std::string, std::string>> read_hours(std::string_view text,
                                                                            DayHours& into);

// Whether no minute of the day is left.
[[nodiscard]] bool whole_day(std::span<const DayHours> hours);

extern const std::string_view kAwayAllDay, kAwayAllDayHint;

}  // namespace forewarm::rules
