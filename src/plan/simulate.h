// Replays heater commands over job time: how hot each heater is when, and what is waited for how
// long.
//
// A wait stops the machine, and with it everything later, until its heater is there; every other
// heater goes on. Pure. Seconds, degrees Celsius, watts.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "plan/cumulative_delay.h"
#include "plan/drives.h"
#include "plan/plan.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

// One thing that happens to a heater. There are many, so an event is small; its place's offset is
// in its key.
struct Event {
  // put_away: in a gap that has begun, others are waited for, and now the select comes;
  // pause: the job has paused while the toolhead of the gap is parked
  enum class Kind : std::uint8_t {
    set,
    wait,
    gap_begins,
    put_away,
    gap_ends,
    pause,
    pass,
    runs_on
  };
  static constexpr std::uint32_t kNoGap = UINT32_MAX;
  double at_s = 0;    // job time
  double temp_c = 0;  // gap_begins: hotter than this is hot idle
  // pass: how long the machine does something else; runs_on: how much less the job takes, as motion
  // does not come to rest.
  double seconds = 0;
  std::uint32_t head = 0;      // of job.heads
  std::uint32_t gap = kNoGap;  // that it begins or ends, or after which it waits
  Kind kind = Kind::set;
  bool has_temp = true;
  bool cooling = false;  // the wait is for cooling, too
  bool step = false;     // of a step sequence, to which its seconds and waits are counted
  bool ours = false;     // inserted
  enum class At : std::uint8_t { start_code, gap, exchange, use, end } at = At::use;  // of a wait
};

// Events, and their order: by place, at one place by rank, and then as they were added.
struct Timeline {
  // At a place, events below the first rank are early, those from the second on late
  // (cumulative_delay.h). Those from the third on are the line's own.
  static constexpr std::uint32_t kBetween = 20, kLate = 28, kOwn = 48;
  struct Key {
    std::uint64_t offset;
    std::uint32_t rank;
    std::uint32_t event;
    bool operator<(const Key& o) const {
      if (offset != o.offset) return offset < o.offset;
      return rank != o.rank ? rank < o.rank : event < o.event;
    }
  };
  std::vector<Event> events;
  std::vector<Key> order;               // sorted
  double wait_takes_s = 0;              // of any wait, however warm, but those for a minimum
  std::optional<double> wait_window_c;  // ours are for a minimum, so much below the target
};

struct GapOutcome {
  double from_s = 0, to_s = 0;                // what is decided: behind its last pause
  double parked_from_s = 0;                   // from_s where it has no pause
  double start_c = 0, start_target_c = 0;     // just before the first command of the gap
  std::optional<thermal::HeaterState> start;  // the heater then
  double hot_idle_s = 0, dip_c = 1e9, wait_s = 0;
  double hot_mounted_s = 0;  // of hot_idle_s, up to Event::Kind::put_away
};

struct Simulation {
  Figures figures;                 // but for power, which is to_plan.h's
  std::vector<HeadFigures> heads;  // hot_idle_s, energy_wh, wait_s, hot_parked only
  Stretch without_command;         // of what is waited for and of sequences alone
  std::vector<GapOutcome> gaps;
  CumulativeDelay waits;
  CumulativeDelay for_heaters, in_sequences;  // of these: Figures::wait_s, Figures::sequence_s
  std::vector<Drive> drives;
  std::vector<Holding> holding;
};

struct Trace;

// REQUIRES: timeline.order is sorted; gaps are numbered from 0 to gap_count - 1. Where a trace is
// given, what happens on the way is added to it, but for drives.
[[nodiscard]] Simulation simulate(const job::Job& job, const Timeline& timeline,
                                  std::size_t gap_count, Trace* trace = nullptr);

}  // namespace forewarm::plan
