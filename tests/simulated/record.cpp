#include "record.h"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <stdexcept>

namespace simulated {
namespace {

template <class... A>
std::string text_of(const char* format, A... values) {
  char text[160];
  std::snprintf(text, sizeof text, format, values...);
  return text;
}

}  // namespace

Record::Record(std::ostream* out, std::ostream* csv, Times times, const std::string& start)
    : out_(out), csv_(csv), times_(times) {
  int year = 0, hour = 0, minute = 0, second = 0;
  unsigned month = 0, day = 0;
  if (std::sscanf(start.c_str(), "%d-%u-%uT%d:%d:%d", &year, &month, &day, &hour, &minute,
                  &second) != 6) {
    throw std::runtime_error("start: YYYY-MM-DDTHH:MM:SS is needed");
  }
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(month),
                                         std::chrono::day(day)};
  if (!date.ok()) throw std::runtime_error("start: there is no such day");
  const auto days = std::chrono::sys_days(date).time_since_epoch().count();
  start_ms_ = ((days * 24LL + hour) * 60 + minute) * 60'000 + second * 1000LL;
  if (csv_) *csv_ << "time_s,heater,temp_c,target_c,drive\n";
}

std::string Record::time_text(double at_s) const {
  if (times_ == Times::seconds) return text_of("[%.3f]", at_s);
  const long long ms = start_ms_ + std::llround(at_s * 1000);
  const long long day = ms / 86'400'000, of_day = ms % 86'400'000;
  const std::string clock = text_of("%02lld:%02lld:%02lld.%03lld", of_day / 3'600'000,
                                    of_day / 60'000 % 60, of_day / 1000 % 60, of_day % 1000);
  if (times_ == Times::clock) return clock;
  const std::chrono::year_month_day date{std::chrono::sys_days(std::chrono::days(day))};
  return text_of("%04d-%02u-%02uT%s", int(date.year()), unsigned(date.month()),
                 unsigned(date.day()), clock.c_str());
}

void Record::say(double at_s, std::string_view text) {
  if (out_) *out_ << time_text(at_s) << ' ' << text << '\n';
}

void Record::report(double at_s, const std::vector<Reading>& readings, bool waiting) {
  if (csv_) {
    for (const Reading& r : readings) {
      *csv_ << text_of("%.3f,%s,%.2f,%.0f,%.3f\n", at_s,
                       r.heater < 0 ? "bed" : std::to_string(r.heater).c_str(), r.read_c,
                       r.target_c, r.drive);
    }
  }
  if (!out_) return;
  std::string mounted, bed, heads, drives, bed_drive, mounted_drive;
  for (const Reading& r : readings) {
    const std::string temperature = text_of("%.1f /%.1f", r.read_c, r.target_c);
    const int drive = int(std::lround(r.drive * 127));
    if (r.heater < 0) {
      bed = " B:" + temperature;
      bed_drive = text_of(" B@:%d", drive);
      continue;
    }
    heads += text_of(" T%d:%s", r.heater, temperature.c_str());
    drives += text_of(" @%d:%d", r.heater, drive);
    if (r.mounted || mounted.empty()) {
      mounted = "T:" + temperature;
      mounted_drive = text_of(" @:%d", drive);
    }
  }
  say(at_s, (waiting ? "" : "ok ") + mounted + bed + heads + mounted_drive + bed_drive + drives);
}

}  // namespace simulated
