#include "record/clock.h"

#include <fast_float/fast_float.h>

#include <cmath>

#include "record/record.h"

namespace forewarm::record {

namespace {

constexpr double kDayS = 86400;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Exactly `count` digits, else -1.
int take_digits(std::string_view& text, std::size_t count) {
  if (text.size() < count) return -1;
  int value = 0;
  for (std::size_t i = 0; i < count; ++i) {
    if (!is_digit(text[i])) return -1;
    value = value * 10 + (text[i] - '0');
  }
  text.remove_prefix(count);
  return value;
}

bool take(std::string_view& text, char c) {
  if (text.empty() || text.front() != c) return false;
  text.remove_prefix(1);
  return true;
}

double take_fraction(std::string_view& text) {
  if (text.size() < 2 || (text[0] != '.' && text[0] != ',') || !is_digit(text[1])) return 0;
  double value = 0, unit = 0.1;
  std::size_t i = 1;
  for (; i < text.size() && is_digit(text[i]); ++i, unit /= 10) value += unit * (text[i] - '0');
  text.remove_prefix(i);
  return value;
}

// Days since 1970-01-01 in the Gregorian calendar; by counting years from March.
double days_from(int year, int month, int day) {
  const int y = month <= 2 ? year - 1 : year;
  const int era = (y >= 0 ? y : y - 399) / 400;
  const int of_era = y - era * 400;
  const int of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
  return double(era) * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

}  // namespace

std::optional<double> take_number(std::string_view& text) {
  std::string_view rest = text;
  (void)take(rest, '+');
  // No inf, no nan: a number begins with a digit or a point.
  const std::size_t sign = !rest.empty() && rest.front() == '-' ? 1 : 0;
  if (rest.size() <= sign || !(is_digit(rest[sign]) || rest[sign] == '.')) return std::nullopt;
  double value = 0;
  const auto [stop, error] = fast_float::from_chars(rest.data(), rest.data() + rest.size(), value,
                                                    fast_float::chars_format::fixed);
  if (error != std::errc() || !std::isfinite(value)) return std::nullopt;
  text = rest.substr(std::size_t(stop - rest.data()));
  return value;
}

std::optional<double> take_clock(std::string_view& text) {
  std::string_view rest = text;
  const int hours = take_digits(rest, 2);
  if (hours < 0 || hours > 24 || !take(rest, ':')) return std::nullopt;
  const int minutes = take_digits(rest, 2);
  if (minutes < 0 || minutes > 59 || !take(rest, ':')) return std::nullopt;
  const int seconds = take_digits(rest, 2);
  if (seconds < 0 || seconds > 60) return std::nullopt;
  const double fraction = take_fraction(rest);
  text = rest;
  return hours * 3600 + minutes * 60 + seconds + fraction;
}

std::optional<double> take_stamp(std::string_view& text) {
  std::string_view rest = text;
  const int year = take_digits(rest, 4);
  if (year < 0 || !take(rest, '-')) return std::nullopt;
  const int month = take_digits(rest, 2);
  if (month < 1 || month > 12 || !take(rest, '-')) return std::nullopt;
  const int day = take_digits(rest, 2);
  if (day < 1 || day > 31 || rest.empty()) return std::nullopt;
  if (!take(rest, 'T') && !take(rest, ' ') && !take(rest, 't')) return std::nullopt;
  const auto clock = take_clock(rest);
  if (!clock) return std::nullopt;
  double zone_s = 0;
  if (!take(rest, 'Z') && !rest.empty() && (rest[0] == '+' || rest[0] == '-')) {
    std::string_view zone = rest.substr(1);
    const int hours = take_digits(zone, 2);
    (void)take(zone, ':');
    const int minutes = hours < 0 ? -1 : take_digits(zone, 2);
    // "... 10:00:01 - ok T:20" has no zone.
    if (hours >= 0 && hours < 24 && minutes >= 0 && minutes < 60) {
      zone_s = (rest[0] == '-' ? -1 : 1) * (hours * 3600 + minutes * 60);
      rest = zone;
    }
  }
  text = rest;
  return days_from(year, month, day) * kDayS + *clock - zone_s;
}

std::optional<double> time_of(std::string_view text, TimeKind kind) {
  const auto value = kind == TimeKind::seconds ? take_number(text)
                     : kind == TimeKind::clock ? take_clock(text)
                                               : take_stamp(text);
  if (!text.empty() || !value || std::abs(*value) > kLongestS) return std::nullopt;
  return value;
}

std::optional<Leading> leading_time(std::string_view line) {
  while (!line.empty() && (line.front() == ' ' || line.front() == '\t')) line.remove_prefix(1);
  const bool bracket = take(line, '[');
  while (bracket && take(line, ' ')) {
  }
  if (line.empty() || !is_digit(line.front())) return std::nullopt;
  if (line.size() > 4 && line[4] == '-') {
    if (const auto stamp = take_stamp(line)) return Leading{*stamp, TimeKind::stamp};
  }
  if (line.size() > 2 && line[2] == ':') {
    if (const auto clock = take_clock(line)) return Leading{*clock, TimeKind::clock};
  }
  const std::string_view all = line;
  const auto seconds = take_number(line);
  if (!seconds || *seconds > kLongestS) return std::nullopt;
  const std::string_view number = all.substr(0, all.size() - line.size());
  const bool pointed = number.find('.') != std::string_view::npos && number.back() != '.';
  const bool closed = bracket && !line.empty() && line.front() == ']';
  // Not the beginning of a word or of another number.
  const bool apart =
      line.empty() || std::string_view(" \t:,;]|").find(line.front()) != std::string_view::npos;
  if (!closed && !(pointed && apart)) return std::nullopt;
  return Leading{*seconds, TimeKind::seconds};
}

TimeScale::Now TimeScale::at(double raw_s, TimeKind kind) {
  if (!begun_) {
    begun_ = true;
    first_s_ = last_raw_s_ = raw_s;
    last_s_ = 0;
    return {0, true};
  }
  double step = raw_s - last_raw_s_;
  if (kind == TimeKind::clock) {
    // Past midnight it goes on; just before midnight, seen just after, it does not go on by a day.
    if (step < -kDayS / 2) days_s_ += kDayS;
    if (step > kDayS / 2) days_s_ -= kDayS;
  }
  last_raw_s_ = raw_s;
  const double now_s = raw_s + days_s_ - first_s_;
  step = now_s - last_s_;
  if (step < 0 && step >= -kBackS) return {last_s_, false};
  last_s_ = now_s;
  return {now_s, step < 0 || step > kSilenceS};
}

}  // namespace forewarm::record
