#include "plan/simulate.h"

#include <algorithm>
#include <cmath>

#include "thermal/hotend.h"

namespace forewarm::plan {

void CumulativeDelay::add(std::uint64_t offset, bool late, double seconds) {
  if (seconds <= 0) return;
  const std::uint64_t key = 2 * offset + (late ? 1 : 0);
  const double sum = total() + seconds;
  if (!keys_.empty() && keys_.back() == key) {
    sums_.back() = sum;
  } else {
    keys_.push_back(key);
    sums_.push_back(sum);
  }
}

double CumulativeDelay::sum_before(std::uint64_t key) const {
  const auto at = std::lower_bound(keys_.begin(), keys_.end(), key);
  return at == keys_.begin() ? 0 : sums_[std::size_t(at - keys_.begin()) - 1];
}

bool CumulativeDelay::near(const CumulativeDelay& other, double seconds) const {
  const auto close = [seconds](const CumulativeDelay& a, const CumulativeDelay& b) {
    for (const std::uint64_t key : a.keys_) {
      if (std::abs(a.sum_before(key + 1) - b.sum_before(key + 1)) > seconds) return false;
    }
    return true;
  };
  return close(*this, other) && close(other, *this);
}

CumulativeDelay::Changes CumulativeDelay::unlike(const CumulativeDelay& other) const {
  Changes out;
  const auto own = [](const CumulativeDelay& w, std::size_t i) {
    return w.sums_[i] - (i > 0 ? w.sums_[i - 1] : 0);
  };
  std::size_t a = 0;
  std::size_t b = 0;
  while (a < keys_.size() || b < other.keys_.size()) {
    const std::uint64_t at = a < keys_.size() ? keys_[a] : UINT64_MAX;
    const std::uint64_t at_other = b < other.keys_.size() ? other.keys_[b] : UINT64_MAX;
    const double seconds = at <= at_other ? own(*this, a++) : 0;
    const double seconds_other = at_other <= at ? own(other, b++) : 0;
    constexpr double kRoundingS = 1e-9;  // of sums
    if (std::abs(seconds - seconds_other) > kRoundingS) {
      out.offsets_.push_back(std::min(at, at_other) / 2);
    }
  }
  return out;
}

bool CumulativeDelay::Changes::within(std::uint64_t first_offset, std::uint64_t last_offset) const {
  const auto at = std::lower_bound(offsets_.begin(), offsets_.end(), first_offset);
  return at != offsets_.end() && *at <= last_offset;
}

namespace {

// One heater on its way through the job.
struct Track {
  thermal::HeaterState course;
  double wall_s = 0;
  std::uint32_t gap = Event::kNoGap;
  double threshold_c = 1e9;
  double drive_until_s = 0;
  std::size_t drive = job::kNone;  // the last one
};

// A drive that a wait ends, and one that begins after the wait, do not overlap by rounding.
constexpr double kRoundingS = 1e-6;

double peak_of(const std::vector<Drive>& drives, const job::Job& job) {
  std::vector<std::pair<double, double>> steps;
  for (const Drive& d : drives) {
    if (d.to_s - d.from_s <= kRoundingS) continue;
    const double power = job.heads[d.head].hotend.power_w;
    steps.emplace_back(d.from_s, power);
    steps.emplace_back(d.to_s - kRoundingS, -power);
  }
  std::sort(steps.begin(), steps.end());
  double now = 0;
  double peak = 0;
  for (const auto& [time, power] : steps) peak = std::max(peak, now += power);
  return peak;
}

}  // namespace

double over_limit_s(const std::vector<Drive>& drives, const job::Job& job, double limit_w) {
  struct Step {
    double at_s, watts;
    int preheats;
  };
  std::vector<Step> steps;
  for (const Drive& d : drives) {
    if (d.to_s <= d.from_s) continue;
    const double power = job.heads[d.head].hotend.power_w;
    steps.push_back({d.from_s, power, d.preheat ? 1 : 0});
    steps.push_back({d.to_s, -power, d.preheat ? -1 : 0});
  }
  std::sort(steps.begin(), steps.end(), [](const Step& a, const Step& b) {
    return a.at_s != b.at_s ? a.at_s < b.at_s : a.watts < b.watts;
  });
  double over = 0;
  Step now{0, 0, 0};
  for (const Step& step : steps) {
    if (now.preheats > 0 && now.watts > limit_w + 1e-6) over += step.at_s - now.at_s;
    now = {step.at_s, now.watts + step.watts, now.preheats + step.preheats};
  }
  return over;
}

namespace {

double& seconds_of(WaitCauses& waits, Event::At at) {
  switch (at) {
    case Event::At::start_code:
      return waits.start_code_s;
    case Event::At::gap:
      return waits.gap_s;
    case Event::At::exchange:
      return waits.exchange_s;
    case Event::At::use:
      break;
    case Event::At::end:
      return waits.end_s;
  }
  return waits.use_s;
}

}  // namespace

Simulation simulate(const job::Job& job, const Timeline& timeline, std::size_t gap_count) {
  Simulation out;
  out.heads.resize(job.heads.size());
  out.gaps.resize(gap_count);
  std::vector<Track> tracks;
  for (const rules::Toolhead& h : job.heads) {
    tracks.push_back({thermal::HeaterState(h.hotend, h.hotend.ambient_c)});
  }
  std::vector<Drive>& drives = out.drives;
  double energy_j = 0;
  const auto advance = [&](std::size_t head, double wall_s) {
    Track& t = tracks[head];
    const thermal::HeaterUsage spent =
        t.course.advance(std::max(0.0, wall_s - t.wall_s), t.threshold_c);
    t.wall_s = std::max(t.wall_s, wall_s);
    energy_j += spent.energy_j;
    out.heads[head].energy_wh += spent.energy_j / 3600;
    if (t.gap != Event::kNoGap) {
      out.gaps[t.gap].hot_idle_s += spent.above_s;
      out.gaps[t.gap].dip_c = std::min(out.gaps[t.gap].dip_c, spent.lowest_c);
      out.heads[head].hot_idle_s += spent.above_s;
    }
  };
  double waited_s = 0;  // and gone by in sequences
  for (const Timeline::Key& key : timeline.order) {
    const Event& e = timeline.events[key.event];
    const double wall_s = e.at_s + waited_s;
    advance(e.head, wall_s);
    Track& t = tracks[e.head];
    switch (e.kind) {
      case Event::Kind::gap_begins: {
        t.gap = e.gap;
        t.threshold_c = e.temp_c;
        GapOutcome& g = out.gaps[e.gap];
        g.from_s = wall_s;
        g.start_c = t.course.temperature_c();
        g.start_target_c = t.course.target_c();
        g.start = t.course;
        g.dip_c = g.start_c;
        continue;
      }
      case Event::Kind::gap_ends:
        out.gaps[e.gap].to_s = wall_s;
        t.gap = Event::kNoGap;
        t.threshold_c = 1e9;
        continue;
      case Event::Kind::pass:
        out.waits.add(key.offset, key.rank >= Timeline::kLate, e.seconds);
        waited_s += e.seconds;
        out.figures.sequence_s += e.seconds;
        continue;
      case Event::Kind::set:
      case Event::Kind::wait:
        break;
    }
    if (e.has_temp) {
      if (e.temp_c > 0 && t.course.target_c() <= 0) ++out.figures.cold_starts;
      t.course.set_target(e.temp_c);
      // The drive under way ends here, or goes on as the new one: a preheat stays one, though the
      // wait for it sets its target again.
      const bool under_way = t.drive != job::kNone && t.drive_until_s > wall_s;
      const bool preheat = e.preheat || (under_way && drives[t.drive].preheat);
      if (under_way) drives[t.drive].to_s = wall_s;
      t.drive_until_s = wall_s;
      if (t.course.full_drive()) {
        const double seconds = t.course.seconds_until_warm(e.temp_c);
        t.drive_until_s = std::isfinite(seconds) ? wall_s + seconds : 1e18;
        t.drive = drives.size();
        drives.push_back({wall_s, t.drive_until_s, e.head, preheat});
      }
    }
    if (e.kind != Event::Kind::wait) continue;
    const double target = e.has_temp ? e.temp_c : t.course.target_c();
    double wait = target > 0 ? t.course.seconds_until_warm(target) : 0;
    if (e.cooling) wait = std::max(wait, t.course.seconds_until_cool(target));
    if (!std::isfinite(wait)) wait = 0;
    if (wait > 0) {
      out.waits.add(key.offset, key.rank >= Timeline::kLate, wait);
      waited_s += wait;
      if (e.step) {
        out.figures.sequence_s += wait;
        continue;
      }
      out.figures.wait_s += wait;
      seconds_of(out.figures.waits, e.at) += wait;
      out.heads[e.head].wait_s += wait;
      if (e.gap != Event::kNoGap) out.gaps[e.gap].wait_s += wait;
    }
  }
  const double end_s = job.duration_s + waited_s;
  for (std::size_t h = 0; h < tracks.size(); ++h) advance(h, end_s);
  for (Drive& d : drives) d.to_s = std::min(d.to_s, end_s);
  for (std::size_t g = 0; g < out.gaps.size(); ++g) {
    if (out.gaps[g].to_s < out.gaps[g].from_s) out.gaps[g].to_s = end_s;
    out.figures.hot_idle_s += out.gaps[g].hot_idle_s;
  }
  out.figures.duration_s = end_s;
  out.figures.energy_wh = energy_j / 3600;
  out.figures.peak_heating_w = peak_of(drives, job);
  return out;
}

}  // namespace forewarm::plan
