#include "report/calendar.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <optional>

#include "report/figures.h"

namespace forewarm::report {

namespace {

namespace chrono = std::chrono;

Error usage(const char* option, std::string_view text, const std::string& message,
            const std::string& form) {
  return {Error::Kind::usage,
          std::string(option) + ' ' + printable(text, 80) + ": " + message,
          "",
          {},
          {},
          "",
          form};
}

// The number that `pattern` has as so many digits from `at`; REQUIRES: they fit an int.
int digits(std::string_view text, std::size_t at, std::size_t count) {
  int value = 0;
  for (const char c : text.substr(at, count)) value = value * 10 + (c - '0');
  return value;
}

// Whether the text looks like the pattern, where 0 stands for a digit and all else for itself.
bool looks_like(std::string_view text, std::string_view pattern) {
  return text.size() == pattern.size() &&
         std::equal(text.begin(), text.end(), pattern.begin(),
                    [](char c, char p) { return p == '0' ? c >= '0' && c <= '9' : c == p; });
}

chrono::local_seconds point(LocalTime time) {
  return chrono::local_seconds{chrono::seconds{time.s}};
}

std::int64_t second_of_day(LocalTime time) {
  return (point(time) - chrono::floor<chrono::days>(point(time))).count();
}

}  // namespace

bool Away::covers(LocalTime time) const {
  const std::int64_t s = second_of_day(time);
  const bool from = s >= std::int64_t(from_min) * 60;
  const bool to = s < std::int64_t(to_min) * 60;
  return from_min < to_min ? from && to : from || to;
}

Result<LocalTime> parse_time(const char* option, std::string_view text) {
  const std::string form = fmt::format("write {} 2027-03-05T18:00", option);
  if (looks_like(text, "00:00")) {
    return usage(option, text, "a date has to stand before it, since no clock is read",
                 fmt::format("write {} 2027-03-05T{}", option, text));
  }
  if (looks_like(text, "0000-00-00")) {
    return usage(option, text, "a time of day has to stand behind it",
                 fmt::format("write {0} {1}T18:00, or \"{1} 18:00\", quoted", option, text));
  }
  if (!looks_like(text, "0000-00-00T00:00") && !looks_like(text, "0000-00-00 00:00")) {
    return usage(option, text, "neither date nor time of day can be read", form);
  }
  const chrono::year_month_day day{chrono::year{digits(text, 0, 4)},
                                   chrono::month{unsigned(digits(text, 5, 2))},
                                   chrono::day{unsigned(digits(text, 8, 2))}};
  if (!day.ok()) return usage(option, text, "there is no such day", form);
  if (day.year() < chrono::year{1970}) {
    return usage(option, text, "the year must be 1970 or later", form);
  }
  const auto minutes = rules::minute_of_day(text.substr(11));
  if (!minutes || *minutes == rules::kDayMinutes) {
    return usage(option, text, "there is no such time of day", form);
  }
  return LocalTime{chrono::local_days{day}.time_since_epoch().count() * kDayS + *minutes * 60};
}

Result<LocalTime> parse_start(std::string_view text) { return parse_time("--start", text); }

Result<Away> parse_away(std::string_view text) {
  Away away;
  if (const auto why = rules::read_hours(text, away)) {
    return usage("--away", text, why->first, "write --away " + why->second);
  }
  return away;
}

std::vector<Away> away_of(const rules::AttentionSettings& settings) {
  std::vector<Away> out;
  for (const std::string& text : settings.away) {
    if (auto away = parse_away(text)) out.push_back(*away);
  }
  return out;
}

bool whole_day(const std::vector<Away>& away) {
  return rules::whole_day(std::vector<rules::DayHours>(away.begin(), away.end()));
}

LocalTime later(LocalTime time, double seconds) {
  constexpr std::int64_t kLast = 253'402'300'799;  // 9999-12-31T23:59:59
  const double whole = std::floor(thousandths(seconds));
  const double at = std::isfinite(whole) ? double(time.s) + whole : double(kLast);
  return {std::int64_t(std::clamp(at, 0.0, double(kLast)))};
}

std::string date(LocalTime time) {
  const chrono::year_month_day day{chrono::floor<chrono::days>(point(time))};
  return fmt::format("{:04}-{:02}-{:02}", int(day.year()), unsigned(day.month()),
                     unsigned(day.day()));
}

std::string date_minute(LocalTime time) {
  const std::int64_t s = second_of_day(time);
  return fmt::format("{}T{:02}:{:02}", date(time), s / 3600, s / 60 % 60);
}

std::string date_time(LocalTime time) {
  return fmt::format("{}:{:02}", date_minute(time), second_of_day(time) % 60);
}

int hour(LocalTime time) { return int(second_of_day(time) / 3600); }

std::string hours(const Away& away) {
  return fmt::format("{:02}:{:02}-{:02}:{:02}", away.from_min / 60, away.from_min % 60,
                     away.to_min / 60, away.to_min % 60);
}

}  // namespace forewarm::report
