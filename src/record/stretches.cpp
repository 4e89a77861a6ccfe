#include "record/stretches.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <utility>

namespace forewarm::record {

namespace {

constexpr double kOff = 0.02;  // less drive than this is none
// Less than that below what is reached may be the coarseness of readings. Common practice, no
// source.
constexpr double kBelowC = 0.5;
constexpr double kLowS = 10;    // so long below half of it, the drive is over
constexpr double kAboveC = 2;   // so far above its target, a heater is not driven
constexpr double kRaiseC = 10;  // a target raised by less does not begin a heat-up
constexpr double kLongestCoolS = 10800;
constexpr std::size_t kMostSettles = 1000;

struct Ends {
  double low = 1e300, high = -1e300;
  [[nodiscard]] double span() const { return high > low ? high - low : 0; }
};

Ends ends_of(const std::vector<thermal::Reading>& readings) {
  Ends out;
  for (const thermal::Reading& r : readings) {
    out.low = std::min(out.low, r.temperature_c);
    out.high = std::max(out.high, r.temperature_c);
  }
  return out;
}

// From where the temperature has lost a twentieth of what it will, so that neither the sensor's lag
// nor heat that is still on its way counts.
void trim_top(std::vector<thermal::Reading>& readings) {
  const Ends ends = ends_of(readings);
  const double from_c = ends.high - ends.span() / 20;
  auto top = std::max_element(readings.begin(), readings.end(), [](const auto& a, const auto& b) {
    return a.temperature_c < b.temperature_c;
  });
  top = std::find_if(top, readings.end(),
                     [from_c](const auto& r) { return r.temperature_c <= from_c; });
  readings.erase(readings.begin(), top);
}

void keep_widest(std::vector<Found>& list) {
  while (list.size() > kMostStretches) {
    list.erase(std::min_element(list.begin(), list.end(), [](const Found& a, const Found& b) {
      return a.span_c < b.span_c;
    }));
  }
}

}  // namespace

void HeaterStretches::add(HeaterStretches other) {
  const auto take = [](auto& into, auto& from) {
    into.insert(into.end(), std::make_move_iterator(from.begin()),
                std::make_move_iterator(from.end()));
  };
  take(heat_ups, other.heat_ups);
  take(cool_downs, other.cool_downs);
  take(settles_s, other.settles_s);
  take(climbs, other.climbs);
  keep_widest(heat_ups);
  keep_widest(cool_downs);
  samples += other.samples;
  driven = driven || other.driven;
  drive_known = drive_known || other.drive_known;
  target_known = target_known || other.target_known;
  widest_span_c = std::max(widest_span_c, other.widest_span_c);
  most_readings = std::max(most_readings, other.most_readings);
  most_heat_readings = std::max(most_heat_readings, other.most_heat_readings);
}

StretchFinder::StretchFinder(const rules::Rules& rules) {
  const double window_c = rules.dialect.wait_window_c;
  rest_c_ = std::max(rest_c_, rules.machine.ambient_c + kRestAboveC);
  usual_c_ = window_c > 0 ? std::min(window_c, kUsualReachedC) : kUsualReachedC;
  for (const rules::Toolhead& head : rules.toolheads) {
    reached_c_.push_back(head.hotend.reached_c > 0 ? head.hotend.reached_c : usual_c_);
  }
}

void StretchFinder::heater(const Heater& heater) {
  HeaterStretches& found = states_.emplace_back().found;
  found.heater = heater;
  const bool known = heater.head && *heater.head < reached_c_.size();
  found.reached_c = known ? reached_c_[*heater.head] : usual_c_;
}

void StretchFinder::part(double, std::uint64_t) {
  for (State& s : states_) {
    finish(s);
    s.phase = Phase::unknown;
    s.last.reset();
    s.target_c.reset();
    s.climb_from.reset();
    s.reached_s.reset();
    s.reached = false;
  }
  there_.reset();
}

std::optional<double> StretchFinder::drive_of(State& s, const Sample& sample) const {
  if (sample.target_c) s.found.target_known = true;
  if (sample.drive) {
    s.found.drive_known = true;
    return sample.drive;
  }
  if (!sample.target_c) return std::nullopt;
  if (*sample.target_c <= 0 || sample.temp_c > *sample.target_c + kAboveC) return 0;
  return s.reached ? std::nullopt : std::optional(1.0);
}

void StretchFinder::begin(State& s, Phase phase, bool from_first, double drive_before) {
  s.phase = phase;
  s.readings.clear();
  s.stride = 1;
  s.skipped = s.taken = 0;
  s.drive_time_s = s.drive_sum = 0;
  s.from_first = from_first;
  s.drive_before = drive_before;
  s.most_drive = 0;
  s.drive_since_s.reset();
  s.low_since_s.reset();
}

void StretchFinder::append(State& s, const Sample& sample, double drive) {
  ++s.taken;
  const bool kept = s.skipped == 0;
  s.skipped = (s.skipped + 1) % s.stride;
  if (!kept) return;
  if (s.readings.size() >= kMostReadings) {
    // Pairs become one: the first reading, and the drive of both.
    std::vector<thermal::Reading> half;
    for (std::size_t i = 0; i + 1 < s.readings.size(); i += 2) {
      thermal::Reading r = s.readings[i];
      const double first_s = s.readings[i + 1].time_s - r.time_s;
      const double end_s =
          i + 2 < s.readings.size() ? s.readings[i + 2].time_s : s.readings[i + 1].time_s;
      const double second_s = end_s - s.readings[i + 1].time_s;
      if (first_s + second_s > 0) {
        r.drive = (r.drive * first_s + s.readings[i + 1].drive * second_s) / (first_s + second_s);
      }
      half.push_back(r);
    }
    s.readings = std::move(half);
    s.stride *= 2;
    s.skipped = 1;
  }
  s.readings.push_back({sample.time_s, sample.temp_c, drive});
}

void StretchFinder::keep(State& s, std::vector<thermal::Reading> readings, bool heating) {
  if (!heating) trim_top(readings);
  const double span_c = ends_of(readings).span();
  s.found.widest_span_c = std::max(s.found.widest_span_c, span_c);
  if (span_c < kLeastSpanC) return;
  s.found.most_readings = std::max(s.found.most_readings, readings.size());
  if (heating) s.found.most_heat_readings = std::max(s.found.most_heat_readings, readings.size());
  if (readings.size() < kLeastReadings) return;
  Found f;
  f.span_c = span_c;
  f.readings = s.taken;
  f.from_first = s.from_first && heating;
  if (heating) f.target_c = s.target_c;
  f.stretch.readings = std::move(readings);
  if (heating) f.stretch.drive_since_s = s.drive_since_s;
  f.momentary = s.momentary;
  f.stretch.drive_before = heating ? s.drive_before : 0;
  std::vector<Found>& list = heating ? s.found.heat_ups : s.found.cool_downs;
  list.push_back(std::move(f));
  keep_widest(list);
}

void StretchFinder::finish(State& s) {
  if (s.phase == Phase::heating || s.phase == Phase::cooling) {
    keep(s, std::move(s.readings), s.phase == Phase::heating);
  }
  s.readings.clear();
}

// The drive has been low for long enough: the heat-up ended where that began, and what follows is a
// cool-down if it was all undriven.
void StretchFinder::split_low(State& s) {
  const auto at = std::find_if(s.readings.begin(), s.readings.end(),
                               [&](const auto& r) { return r.time_s >= *s.low_since_s; });
  std::vector<thermal::Reading> tail(at, s.readings.end());
  s.readings.erase(at, s.readings.end());
  const bool off =
      std::all_of(tail.begin(), tail.end(), [](const auto& r) { return r.drive <= kOff; });
  finish(s);
  begin(s, off ? Phase::cooling : Phase::holding, false, 0);
  if (off) s.readings = std::move(tail);
}

void StretchFinder::sample(const Sample& sample) {
  State& s = states_[sample.heater];
  ++s.found.samples;
  s.last_target_c = s.target_c;
  if (sample.target_c) {
    const bool changed = !s.target_c || *s.target_c != *sample.target_c;
    if (changed) {
      s.reached_s.reset();
      // One that is below the temperature is no heat-up's.
      s.reached = sample.temp_c >= *sample.target_c - s.found.reached_c && *sample.target_c > 0;
    }
    s.target_c = sample.target_c;
  }
  const auto drive = drive_of(s, sample);
  const bool first = !s.last.has_value();
  const double gap_s = first ? 0 : sample.time_s - s.last->time_s;
  if (!s.readings.empty() && s.taken > 1) {
    const double mean_s = (s.last->time_s - s.readings.front().time_s) / double(s.taken - 1);
    if (gap_s > 60 && gap_s > 20 * mean_s) {
      finish(s);
      s.phase = Phase::unknown;
    }
  }
  const double before = s.last_drive;
  const double halfway_s = first ? sample.time_s : sample.time_s - gap_s / 2;
  s.momentary = sample.drive_is_momentary;
  const std::optional<Sample> previous = std::exchange(s.last, sample);
  if (!drive) {
    finish(s);
    s.phase = s.phase == Phase::unknown ? Phase::unknown : Phase::holding;
    return;
  }
  s.last_drive = *drive;
  const bool driven = *drive > kOff;
  s.found.driven = s.found.driven || driven;

  if (s.phase == Phase::heating && s.target_c && s.last_target_c &&
      *s.target_c < *s.last_target_c) {
    finish(s);
    s.phase = Phase::holding;
  }
  bool began_before = false;
  switch (s.phase) {
    case Phase::unknown:
      if (!driven) {
        begin(s, Phase::cooling, true, 0);
      } else if (first && sample.temp_c < rest_c_) {
        begin(s, Phase::heating, true, 0);
      } else if (first) {
        // It began before the record did: what was driven then is what is driven now.
        begin(s, Phase::heating, false, *drive);
        began_before = true;
      }
      break;
    case Phase::holding: {
      const bool raised = s.target_c && s.last_target_c && sample.drive &&
                          *s.target_c >= *s.last_target_c + kRaiseC && *s.last_target_c > 0;
      if (!driven) {
        begin(s, Phase::cooling, false, 0);
      } else if (raised) {
        begin(s, Phase::heating, false, before);
      }
      break;
    }
    case Phase::cooling:
      if (driven) {
        finish(s);
        begin(s, Phase::heating, false, 0);
      } else if (!s.readings.empty() && sample.time_s - s.readings.front().time_s > kLongestCoolS) {
        finish(s);
        begin(s, Phase::cooling, false, 0);
      }
      break;
    case Phase::heating:
      break;
  }
  // It began somewhere between the two samples.
  if (s.phase == Phase::heating && s.taken == 0 && s.momentary && !began_before) {
    s.drive_since_s = halfway_s;
  }
  if (s.phase == Phase::heating || s.phase == Phase::cooling) append(s, sample, *drive);

  watch_climb(s, sample, s.phase == Phase::heating && s.taken == 1);
  const bool there = s.target_c && *s.target_c > 0 && sample.temp_c >= *s.target_c;
  const bool near =
      s.target_c && *s.target_c > 0 && sample.temp_c >= *s.target_c - s.found.reached_c;
  if (near && !s.reached) {
    s.reached = true;
    const double near_c = *s.target_c - s.found.reached_c;
    if (previous && previous->temp_c < near_c) {
      const double share = (near_c - previous->temp_c) / (sample.temp_c - previous->temp_c);
      s.reached_s = previous->time_s + share * gap_s;
    }
  }
  if (!s.reached && s.target_c && sample.temp_c < *s.target_c - s.found.reached_c - kBelowC) {
    s.below_s = sample.time_s;
  }
  if (s.phase != Phase::heating) return;
  if (there) {
    finish(s);
    s.phase = Phase::holding;
    return;
  }
  s.most_drive = std::max(s.most_drive, *drive);
  if (*drive >= s.most_drive / 2) {
    s.low_since_s.reset();
  } else if (!s.low_since_s) {
    s.low_since_s = sample.time_s;
  } else if (sample.time_s - *s.low_since_s > kLowS) {
    split_low(s);
  }
}

void StretchFinder::watch_climb(State& s, const Sample& sample, bool begins) {
  if (!s.target_c || (s.last_target_c && s.climb_from && *s.target_c != *s.last_target_c)) {
    s.climb_from.reset();
  }
  if (begins && s.target_c && *s.target_c > 0 && !s.from_first) {
    s.climb_from = thermal::Reading{s.drive_since_s.value_or(sample.time_s), sample.temp_c, 0};
  }
  if (!s.climb_from || sample.temp_c < *s.target_c - s.found.reached_c) return;
  const Climb climb{s.climb_from->temperature_c, *s.target_c, sample.time_s - s.climb_from->time_s};
  s.climb_from.reset();
  if (climb.target_c - climb.from_c >= kLeastSpanC && s.found.climbs.size() < kMostSettles) {
    s.found.climbs.push_back(climb);
  }
}

void StretchFinder::echo(const Echo& echo) {
  if (echo.what == Echo::What::there) there_ = echo;
  if (echo.what != Echo::What::ready || !there_ || there_->number != echo.number) return;
  std::optional<std::size_t> head;
  if (expected_) {
    const auto expected = expected_->find(echo.number);
    if (expected == expected_->end()) return;
    head = expected->second;
  }
  // Where the job is not known, one heater alone has to have come to its target.
  State* waited = nullptr;
  for (State& s : states_) {
    if (head && s.found.heater.head != head) continue;
    // Else it may have been warm when it was asked for.
    if (!s.reached_s || s.below_s < there_->time_s || *s.reached_s > echo.time_s) continue;
    if (waited != nullptr) return;
    waited = &s;
  }
  if (waited != nullptr && waited->found.settles_s.size() < kMostSettles) {
    waited->found.settles_s.push_back(echo.time_s - *waited->reached_s);
  }
  there_.reset();
}

std::vector<HeaterStretches> StretchFinder::take() {
  std::vector<HeaterStretches> out;
  for (State& s : states_) {
    finish(s);
    out.push_back(std::move(s.found));
  }
  states_.clear();
  return out;
}

}  // namespace forewarm::record
