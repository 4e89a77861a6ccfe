#include "rules/day_hours.h"

#include <algorithm>
#include <bitset>

namespace forewarm::rules {

namespace {

constexpr const char* kForm = "22:00-07:00; it may cross midnight";

// Whether the text is like the pattern, where 0 stands for a digit and all else for itself.
bool looks_like(std::string_view text, std::string_view pattern) {
  return text.size() == pattern.size() &&
         std::equal(text.begin(), text.end(), pattern.begin(),
                    [](char c, char p) { return p == '0' ? c >= '0' && c <= '9' : c == p; });
}

}  // namespace

const std::string_view kAwayAllDay = "nobody is ever at the machine: away covers the whole day";
const std::string_view kAwayAllDayHint = "leave the hours in which somebody can come";

std::optional<int> minute_of_day(std::string_view text) {
  if (!looks_like(text, "00:00")) return std::nullopt;
  const auto two = [&](std::size_t at) { return (text[at] - '0') * 10 + (text[at + 1] - '0'); };
  const int minute = two(0) * 60 + two(3);
  if (two(3) > 59 || minute > kDayMinutes) return std::nullopt;
  return minute;
}

std::optional<std::pair<std::string, std::string>> read_hours(std::string_view text,
                                                              DayHours& into) {
  if (!looks_like(text, "00:00-00:00")) {
    return std::pair("no two times of day can be read", kForm);
  }
  const auto from = minute_of_day(text.substr(0, 5));
  const auto to = minute_of_day(text.substr(6));
  if (!from || !to || *from == kDayMinutes) {
    return std::pair("there is no such time of day", kForm);
  }
  if (*from == *to) return std::pair("it ends when it begins", kForm);
  into = {*from, *to};
  return std::nullopt;
}

bool whole_day(std::span<const DayHours> hours) {
  std::bitset<kDayMinutes> away;
  for (const DayHours& h : hours) {
    const int minutes = h.to_min - h.from_min + (h.to_min > h.from_min ? 0 : kDayMinutes);
    for (int m = 0; m < minutes; ++m) away.set(std::size_t((h.from_min + m) % kDayMinutes));
  }
  return away.all();
}

}  // namespace forewarm::rules
