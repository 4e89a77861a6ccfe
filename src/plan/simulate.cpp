#include "plan/simulate.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "plan/pauses.h"
#include "plan/trace.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

namespace {

constexpr double kNeverHotIdleC = 1e9;
constexpr double kNeverS = 1e18;

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

// Appends to the line what a heater does in the next `seconds`: halves a stretch until the line
// through its ends is near what lies between.
void draw(const thermal::HeaterState& from, double at_s, double seconds,
          std::vector<Trace::Point>& line, int depth = 0) {
  constexpr int kMostHalvings = 12;
  constexpr std::array<double, 3> kProbes{0.25, 0.5, 0.75};
  thermal::HeaterState to = from;
  to.advance(seconds);
  if (depth < kMostHalvings) {
    const double rise_c = to.temperature_c() - from.temperature_c();
    for (const double share : kProbes) {
      thermal::HeaterState between = from;
      between.advance(share * seconds);
      const double off_c = between.temperature_c() - (from.temperature_c() + share * rise_c);
      // Between probes it may be further off.
      if (std::abs(off_c) <= kTraceErrorC / 2) continue;
      thermal::HeaterState middle = from;
      middle.advance(seconds / 2);
      draw(from, at_s, seconds / 2, line, depth + 1);
      draw(middle, at_s + seconds / 2, seconds / 2, line, depth + 1);
      return;
    }
  }
  line.push_back({at_s + seconds, to.temperature_c()});
}

// One heater on its way through the job.
struct Track {
  thermal::HeaterState heater;
  double wall_s = 0;
  std::uint32_t gap = Event::kNoGap;
  Stretch hot{-1, -1};  // in this gap, the last in which it was hot idle
  double hot_idle_above_c = kNeverHotIdleC;
  double drive_until_s = 0;
  std::size_t drive = job::kNone;  // the last one, of Simulation::drives
  Holding holding{kNeverS, kNeverS, 0};
};

class Replay {
 public:
  Replay(const job::Job& job, std::size_t gap_count, Trace* trace) : job_(job), trace_(trace) {
    out_.heads.resize(job.heads.size());
    out_.gaps.resize(gap_count);
    for (const rules::Toolhead& h : job.heads) {
      tracks_.push_back({thermal::HeaterState(h.hotend, h.hotend.ambient_c)});
      if (trace_ != nullptr) trace_->heaters.push_back({{{0, h.hotend.ambient_c}}, {}});
    }
  }

  Simulation run(const Timeline& timeline) {
    wait_takes_s_ = timeline.wait_takes_s;
    wait_window_c_ = timeline.wait_window_c;
    for (const Timeline::Key& key : timeline.order) apply(timeline.events[key.event], key);
    finish(job_.duration_s + passed_s_);
    return std::move(out_);
  }

 private:
  void apply(const Event& e, const Timeline::Key& key) {
    const double wall_s = e.at_s + passed_s_;
    advance(e.head, wall_s);
    switch (e.kind) {
      case Event::Kind::gap_begins:
        begin_gap(e, wall_s);
        break;
      case Event::Kind::put_away:
        out_.gaps[e.gap].hot_mounted_s = out_.gaps[e.gap].hot_idle_s;
        break;
      case Event::Kind::pause:
        over_pause(e, wall_s);
        break;
      case Event::Kind::gap_ends:
        out_.gaps[e.gap].to_s = wall_s;
        if (trace_ != nullptr) trace_->parked[parked_at_[e.gap]].to_s = wall_s;
        tracks_[e.head].gap = Event::kNoGap;
        tracks_[e.head].hot_idle_above_c = kNeverHotIdleC;
        break;
      case Event::Kind::pass:
        out_.without_command.take_longer({wall_s, wall_s + e.seconds});
        stand_still(e.head, e.seconds, Trace::Stop::Kind::sequence);
        pass(key, e.seconds);
        in_sequence(key, e.seconds);
        break;
      case Event::Kind::runs_on:
        pass(key, -e.seconds);
        out_.figures.runs_on_s += e.seconds;
        break;
      case Event::Kind::set:
        if (e.has_temp) set_target(e, wall_s);
        break;
      case Event::Kind::wait:
        if (e.has_temp) set_target(e, wall_s);
        wait(e, key, wall_s);
        break;
    }
  }

  void advance(std::size_t head, double wall_s) {
    Track& t = tracks_[head];
    const double from_s = t.wall_s;
    const bool hot = t.heater.temperature_c() > t.hot_idle_above_c;
    if (trace_ != nullptr && wall_s > t.wall_s) {
      draw(t.heater, t.wall_s, wall_s - t.wall_s, trace_->heaters[head].temperature);
    }
    const thermal::HeaterUsage spent =
        t.heater.advance(std::max(0.0, wall_s - t.wall_s), t.hot_idle_above_c);
    t.wall_s = std::max(t.wall_s, wall_s);
    energy_j_ += spent.energy_j;
    out_.heads[head].energy_wh += spent.energy_j / 3600;
    if (t.gap == Event::kNoGap) return;
    GapOutcome& gap = out_.gaps[t.gap];
    gap.hot_idle_s += spent.above_s;
    gap.dip_c = std::min(gap.dip_c, spent.lowest_c);
    out_.heads[head].hot_idle_s += spent.above_s;
    if (spent.above_s > 0) {
      stays_hot(head, hot ? Stretch{from_s, from_s + spent.above_s}
                          : Stretch{t.wall_s - spent.above_s, t.wall_s});
    }
  }

  // Under one target it cools, or is heated: what it is hot for is at one end of that time.
  void stays_hot(std::size_t head, Stretch stretch) {
    constexpr double kRoundingS = 1e-6;
    Stretch& hot = tracks_[head].hot;
    if (hot.to_s < 0 || stretch.from_s > hot.to_s + kRoundingS) hot.from_s = stretch.from_s;
    hot.to_s = stretch.to_s;
    out_.heads[head].hot_parked.take_longer(hot);
  }

  void begin_gap(const Event& e, double wall_s) {
    Track& t = tracks_[e.head];
    t.gap = e.gap;
    t.hot = {-1, -1};
    t.hot_idle_above_c = e.temp_c;
    out_.gaps[e.gap].parked_from_s = wall_s;
    starts(t, out_.gaps[e.gap], wall_s);
    if (trace_ == nullptr) return;
    parked_at_.resize(out_.gaps.size());
    parked_at_[e.gap] = trace_->parked.size();
    trace_->parked.push_back({wall_s, -1, e.temp_c, e.head});
  }

  static void starts(const Track& t, GapOutcome& gap, double wall_s) {
    gap.from_s = wall_s;
    gap.start_c = t.heater.temperature_c();
    gap.start_target_c = t.heater.target_c();
    gap.start = t.heater;
    gap.dip_c = std::min(gap.dip_c, gap.start_c);
  }

  // The pause takes no time of the plan's, but its heater is as cold as it may be by then.
  void over_pause(const Event& e, double wall_s) {
    Track& t = tracks_[e.head];
    t.heater = after_pause(job_.heads[e.head].hotend, t.heater);
    begin_holding(t, wall_s);
    starts(t, out_.gaps[e.gap], wall_s);
    if (trace_ != nullptr) {
      trace_->heaters[e.head].temperature.push_back({wall_s, t.heater.temperature_c()});
    }
  }

  void set_target(const Event& e, double wall_s) {
    Track& t = tracks_[e.head];
    if (e.temp_c > 0 && t.heater.target_c() <= 0) ++out_.figures.cold_starts;
    const bool same_target = t.heater.target_c() == e.temp_c;
    t.heater.set_target(e.temp_c);
    if (trace_ != nullptr && !same_target) {
      trace_->heaters[e.head].target.push_back({wall_s, e.temp_c});
    }
    begin_holding(t, wall_s);
    // The drive under way ends here, or goes on as the new one, even where a wait sets its target
    // again.
    std::vector<Drive>& drives = out_.drives;
    const bool under_way = t.drive != job::kNone && t.drive_until_s > wall_s;
    const std::uint32_t gap = e.at == Event::At::end ? Drive::kNoGap
                              : e.gap == Event::kNoGap && under_way && same_target
                                  ? drives[t.drive].gap
                                  : e.gap;
    if (under_way) drives[t.drive].to_s = wall_s;
    t.drive_until_s = wall_s;
    if (!t.heater.full_drive()) return;
    const double seconds = t.heater.full_drive_s();
    t.drive_until_s = std::isfinite(seconds) ? wall_s + seconds : kNeverS;
    if (under_way && same_target && drives[t.drive].gap == gap) {
      drives[t.drive].to_s = t.drive_until_s;
      return;
    }
    t.drive = drives.size();
    drives.push_back({wall_s, t.drive_until_s, e.head, gap, e.temp_c});
  }

  // From when on it holds its new target.
  void begin_holding(Track& t, double wall_s) {
    end_holding(t, wall_s);
    const thermal::Hotend& hotend = job_.heads[std::size_t(&t - tracks_.data())].hotend;
    const double target_c = t.heater.target_c();
    const double seconds =
        t.heater.full_drive() ? t.heater.full_drive_s() : t.heater.seconds_until_cool(target_c);
    t.holding = {wall_s + seconds, kNeverS, thermal::hold_w(hotend, target_c)};
  }
  void end_holding(Track& t, double wall_s) {
    t.holding.to_s = wall_s;
    if (t.holding.watts > 0 && t.holding.to_s > t.holding.from_s) {
      out_.holding.push_back(t.holding);
    }
  }

  void wait(const Event& e, const Timeline::Key& key, double wall_s) {
    const thermal::HeaterState& heater = tracks_[e.head].heater;
    const double target_c = e.has_temp ? e.temp_c : heater.target_c();
    const bool for_least = e.ours && wait_window_c_;
    double wait_s = target_c <= 0 ? 0
                    : for_least   ? heater.seconds_until_at(target_c - *wait_window_c_)
                                  : heater.seconds_until_warm(target_c);
    if (e.cooling) wait_s = std::max(wait_s, heater.seconds_until_cool(target_c));
    if (!std::isfinite(wait_s)) return;
    const double takes_s =
        target_c > 0 && !for_least ? std::max(wait_s, wait_takes_s_) : std::max(wait_s, 0.0);
    if (takes_s <= 0) return;
    out_.without_command.take_longer({wall_s, wall_s + takes_s});
    stand_still(e.head, takes_s,
                e.step        ? Trace::Stop::Kind::sequence
                : wait_s <= 0 ? Trace::Stop::Kind::warm_wait
                              : Trace::Stop::Kind::wait);
    pass(key, takes_s);
    if (e.step) {
      in_sequence(key, takes_s);
      return;
    }
    out_.figures.guard_s += takes_s - wait_s;
    if (wait_s <= 0) return;
    out_.figures.wait_s += wait_s;
    out_.for_heaters.add(key.offset, slot_of(key), wait_s);
    seconds_of(out_.figures.waits, e.at) += wait_s;
    out_.heads[e.head].wait_s += wait_s;
    if (e.gap != Event::kNoGap) out_.gaps[e.gap].wait_s += wait_s;
  }

  // REQUIRES: its heater has been advanced to now.
  void stand_still(std::uint32_t head, double seconds, Trace::Stop::Kind kind) {
    if (trace_ == nullptr || seconds <= 0) return;
    constexpr double kTouchingS = 1e-6;
    const double from_s = tracks_[head].wall_s;
    std::vector<Trace::Stop>& stops = trace_->stops;
    if (!stops.empty() && stops.back().head == head && stops.back().kind == kind &&
        std::abs(stops.back().to_s - from_s) < kTouchingS) {
      stops.back().to_s = from_s + seconds;
      return;
    }
    stops.push_back({from_s, from_s + seconds, head, kind});
  }

  // Time that the job does not know of.
  void pass(const Timeline::Key& key, double seconds) {
    out_.waits.add(key.offset, slot_of(key), seconds);
    passed_s_ += seconds;
  }

  // Of that, what a step sequence takes.
  void in_sequence(const Timeline::Key& key, double seconds) {
    out_.figures.sequence_s += seconds;
    out_.in_sequences.add(key.offset, slot_of(key), seconds);
  }

  static CumulativeDelay::Slot slot_of(const Timeline::Key& key) {
    using Slot = CumulativeDelay::Slot;
    return key.rank < Timeline::kBetween ? Slot::early
           : key.rank < Timeline::kLate  ? Slot::between
           : key.rank < Timeline::kOwn   ? Slot::late
                                         : Slot::line;
  }

  void finish(double end_s) {
    for (std::size_t h = 0; h < tracks_.size(); ++h) {
      advance(h, end_s);
      end_holding(tracks_[h], end_s);
    }
    if (trace_ != nullptr) {
      for (Trace::Parked& p : trace_->parked) {
        if (p.to_s < p.from_s) p.to_s = end_s;
      }
    }
    for (Drive& d : out_.drives) d.to_s = std::min(d.to_s, end_s);
    for (GapOutcome& gap : out_.gaps) {
      if (gap.to_s < gap.from_s) gap.to_s = end_s;
      out_.figures.hot_idle_s += gap.hot_idle_s;
    }
    out_.figures.duration_s = end_s;
    out_.figures.energy_wh = energy_j_ / 3600;
  }

  const job::Job& job_;
  Simulation out_;
  std::vector<Track> tracks_;  // as job.heads
  double passed_s_ = 0;        // in waits and sequences so far, less stops that are not made
  double wait_takes_s_ = 0;
  std::optional<double> wait_window_c_;
  double energy_j_ = 0;
  Trace* trace_;                        // nullptr: nobody asked for it
  std::vector<std::size_t> parked_at_;  // in trace_->parked, as out_.gaps
};

}  // namespace

Simulation simulate(const job::Job& job, const Timeline& timeline, std::size_t gap_count,
                    Trace* trace) {
  return Replay(job, gap_count, trace).run(timeline);
}

}  // namespace forewarm::plan
