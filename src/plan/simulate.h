// Replays heater commands over job time: when is what how hot, and how long is what waited for?
//
// Pure: the same events give the same result. A wait stops the machine, and with it everything
// later, until its heater is there; every other heater goes on. Seconds, degrees Celsius, watts.
#pragma once

#include <cstdint>
#include <vector>

#include "plan/plan.h"

namespace forewarm::plan {

struct Event {
  enum class What : std::uint8_t { set, wait, gap_begins, gap_ends };
  job::Place at;
  What what = What::set;
  std::size_t head = 0;
  bool has_temp = true;
  double temp_c = 0;
  bool cooling = false;          // the wait is for cooling, too
  std::size_t gap = job::kNone;  // the gap that it begins, ends, or is waited for after
  double threshold_c = 1e9;      // gap_begins: hotter than this is hot idle
  bool preheat = false;          // the plan's own command to come back
};

// Events, and the order of the text: by place, at one place by rank, and then as they were put in.
struct Timeline {
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
  std::vector<Key> order;  // sorted
};

// Seconds of waiting before places, cumulative.
class Waits {
 public:
  void add(std::uint64_t offset, double seconds);  // offsets ascending
  // Waited before the line at `offset` is reached.
  [[nodiscard]] double before(std::uint64_t offset) const;
  [[nodiscard]] double total() const { return sums_.empty() ? 0 : sums_.back(); }
  [[nodiscard]] double wall(job::Place place) const { return place.time_s + before(place.offset); }
  [[nodiscard]] bool near(const Waits& other, double seconds) const;
  // Offsets, ascending, of the lines before which it is not waited as long as in the other.
  [[nodiscard]] std::vector<std::uint64_t> unlike(const Waits& other) const;

 private:
  std::vector<std::uint64_t> offsets_;
  std::vector<double> sums_;
};

struct GapOutcome {
  double from_s = 0, to_s = 0;
  double start_c = 0, start_target_c = 0;  // just before the first command of the gap
  double hot_idle_s = 0, dip_c = 1e9, wait_s = 0;
};

// A heater at full drive.
struct Drive {
  double from_s, to_s;  // wall
  std::size_t head;
  bool preheat;  // by the plan's own
};

struct Outcome {
  Figures figures;
  std::vector<HeadFigures> heads;  // hot_idle_s, energy_wh, wait_s only
  std::vector<GapOutcome> gaps;
  Waits waits;
  std::vector<Drive> drives;
};

// Seconds in which more than `limit_w` is drawn while a preheat is under way.
[[nodiscard]] double over_limit_s(const std::vector<Drive>& drives, const job::Job& job,
                                  double limit_w);

[[nodiscard]] Outcome simulate(const job::Job& job, const Timeline& timeline,
                               std::size_t gap_count);

}  // namespace forewarm::plan
