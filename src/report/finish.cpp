#include "report/finish.h"

#include <algorithm>
#include <cmath>

namespace forewarm::report {

namespace {

constexpr std::int64_t kMinuteMs = 60'000;
constexpr std::int64_t kDayMs = kDayS * 1000;
constexpr std::uint64_t kGolden = 0x9e3779b97f4a7c15;

std::int64_t ms(double seconds) { return std::llround(seconds * 1000); }
double seconds(std::int64_t ms) { return double(ms) / 1000; }

std::uint64_t mixed(std::uint64_t z) {
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9;
  z = (z ^ (z >> 27)) * 0x94d049bb133111eb;
  return z ^ (z >> 31);
}

// The stream of a trial: a SplitMix64 with a seed of its own.
std::uint64_t stream(std::uint64_t seed, std::uint64_t trial) {
  return mixed(seed + kGolden * (trial + 1));
}
double draw_of(std::uint64_t stream, std::uint64_t index) {
  return double(mixed(stream + kGolden * (index + 1)) >> 11) * 0x1p-53;
}

std::int64_t nearest_rank(const std::vector<std::int64_t>& sorted, std::uint64_t percent) {
  const std::uint64_t rank = (percent * sorted.size() + 99) / 100;
  return sorted[rank - 1];
}

}  // namespace

double draw(std::uint64_t seed, std::uint64_t trial, std::uint64_t index) {
  return draw_of(stream(seed, trial), index);
}

StopClock::StopClock(std::span<const Away> away, double notice_s, double clear_s)
    : notice_ms_(ms(notice_s)), clear_ms_(ms(clear_s)) {
  bool was_there = false;
  for (std::int64_t minute = 0; minute < kDayS / 60; ++minute) {
    const LocalTime at{minute * 60};
    const bool is_there =
        std::none_of(away.begin(), away.end(), [&](const Away& a) { return a.covers(at); });
    if (is_there && !was_there) there_.push_back({minute * kMinuteMs, 0, day_ms_});
    was_there = is_there;
    if (!is_there) continue;
    there_.back().to_ms = (minute + 1) * kMinuteMs;
    day_ms_ += kMinuteMs;
  }
}

std::int64_t StopClock::noticed_ms(std::int64_t stopped_ms) const {
  if (day_ms_ == kDayMs) return stopped_ms + notice_ms_;
  std::int64_t day = stopped_ms / kDayMs;
  const std::int64_t of_day = stopped_ms % kDayMs;
  // How long somebody was there today, until the stop.
  std::int64_t was_ms = day_ms_;
  for (const There& t : there_) {
    if (of_day >= t.to_ms) continue;
    if (of_day >= t.from_ms && notice_ms_ == 0) return stopped_ms;
    was_ms = t.before_ms + std::max<std::int64_t>(0, of_day - t.from_ms);
    break;
  }
  std::int64_t needed = was_ms + notice_ms_;
  // It is noticed once that much has gone by; without any, as soon as somebody is there.
  const auto later_day = [&](std::int64_t sum) {
    return notice_ms_ == 0 ? sum >= day_ms_ : sum > day_ms_;
  };
  if (later_day(needed)) {
    const std::int64_t days = (needed - (notice_ms_ == 0 ? 0 : 1)) / day_ms_;
    day += days;
    needed -= days * day_ms_;
  }
  for (const There& t : there_) {
    const std::int64_t end = t.before_ms + (t.to_ms - t.from_ms);
    if (notice_ms_ == 0 ? needed < end : needed <= end) {
      return day * kDayMs + t.from_ms + (needed - t.before_ms);
    }
  }
  return stopped_ms + notice_ms_;  // never: somebody is there at some time of the day
}

std::int64_t StopClock::goes_on_ms(std::int64_t stopped_ms) const {
  return noticed_ms(stopped_ms) + clear_ms_;
}

Finishing finishing(const FinishProblem& problem, std::span<const LocalTime> starts,
                    std::optional<LocalTime> done_by) {
  const StopClock clock(problem.away, problem.notice_s, problem.clear_s);
  const std::int64_t duration_ms = ms(problem.duration_s);
  std::vector<std::int64_t> at_ms;
  for (const PossibleStop& s : problem.stops) at_ms.push_back(ms(s.at_s));
  // Trials outside, starts within: a trial has the same stops whenever it starts.
  std::vector<std::int64_t> sums(starts.size()), ends(problem.trials), stops;
  for (std::uint64_t trial = 0; trial < problem.trials; ++trial) {
    const std::uint64_t of_trial = stream(problem.seed, trial);
    stops.clear();
    for (std::size_t i = 0; i < at_ms.size(); ++i) {
      const PossibleStop& s = problem.stops[i];
      if (s.odds > 0 && draw_of(of_trial, s.draw) < s.odds) stops.push_back(at_ms[i]);
    }
    for (std::size_t k = 0; k < starts.size(); ++k) {
      const std::int64_t start_ms = starts[k].s * 1000;
      std::int64_t lost_ms = 0;
      for (const std::int64_t stop : stops) {
        const std::int64_t stopped = start_ms + stop + lost_ms;
        lost_ms += clock.goes_on_ms(stopped) - stopped;
      }
      sums[k] += lost_ms;
      if (k == 0) ends[trial] = duration_ms + lost_ms;
    }
  }
  const double n = double(problem.trials);
  Finishing out;
  out.trials = problem.trials;
  out.seed = problem.seed;
  for (std::size_t k = 0; k < starts.size(); ++k) {
    const double lost_s = seconds(sums[k]) / n;
    out.starts.push_back({starts[k], problem.duration_s + lost_s, lost_s});
  }
  // By whole numbers, so that equals are equal.
  std::size_t earliest = 0, shortest = 0;
  const auto end_sum = [&](std::size_t k) {
    return (starts[k].s - starts[0].s) * 1000 * std::int64_t(problem.trials) + sums[k];
  };
  for (std::size_t k = 1; k < starts.size(); ++k) {
    if (end_sum(k) <= end_sum(earliest)) earliest = k;
    if (sums[k] < sums[shortest]) shortest = k;
  }
  out.earliest = out.starts[earliest];
  out.shortest = out.starts[shortest];
  Finish& f = out.given;
  f.mean_s = out.starts[0].mean_s;
  f.lost_s = out.starts[0].lost_s;
  double squares = 0;
  std::uint64_t done = 0;
  for (const std::int64_t end : ends) {
    const double off = seconds(end) - f.mean_s;
    squares += off * off;
    if (done_by && starts[0].s * 1000 + end <= done_by->s * 1000) ++done;
  }
  f.mean_error_s = n > 1 ? std::sqrt(squares / (n - 1) / n) : 0;
  if (done_by) f.chance_done_by = double(done) / n;
  std::sort(ends.begin(), ends.end());
  f.p10_s = seconds(nearest_rank(ends, 10));
  f.p50_s = seconds(nearest_rank(ends, 50));
  f.p90_s = seconds(nearest_rank(ends, 90));
  return out;
}

}  // namespace forewarm::report
