// Replays heater commands over job time: when is what how hot, and how long is what waited for?
//
// Pure: the same events give the same result. A wait stops the machine, and with it everything
// later, until its heater is there; every other heater goes on. Seconds, degrees Celsius, watts.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "plan/plan.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

// There are many, and they are gone through in the order of the text: small, and the place's offset
// is in the key.
struct Event {
  enum class Kind : std::uint8_t { set, wait, gap_begins, gap_ends, pass };
  static constexpr std::uint32_t kNoGap = UINT32_MAX;
  double at_s = 0;             // job time
  double temp_c = 0;           // gap_begins: hotter than this is hot idle
  double seconds = 0;          // pass: so long the machine does something else
  std::uint32_t head = 0;      // of job.heads
  std::uint32_t gap = kNoGap;  // the gap that it begins, ends, or is waited for after
  Kind kind = Kind::set;
  bool has_temp = true;
  bool cooling = false;  // the wait is for cooling, too
  bool preheat = false;  // the plan's own command to come back
  bool step = false;     // of a sequence: its seconds and waits are the sequence's
  enum class At : std::uint8_t { start_code, gap, exchange, use, end } at = At::use;  // of a wait
};

// Events, and the order of the text: by place, at one place by rank, and then as they were put in.
struct Timeline {
  // Events of this rank and more at a place are late there (CumulativeDelay).
  static constexpr std::uint32_t kLate = 28;
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

// Seconds that go by before places beside the job's own, cumulative: waits, and step sequences. At
// one place some are `late`: they come after what puts a toolhead away there.
class CumulativeDelay {
 public:
  void add(std::uint64_t offset, bool late, double seconds);  // in the order of the text
  // Gone by before the lines put in at `offset`...
  [[nodiscard]] double before(std::uint64_t offset) const { return sum_before(2 * offset); }
  // ... before the late ones there ...
  [[nodiscard]] double before_late(std::uint64_t offset) const {
    return sum_before(2 * offset + 1);
  }
  // ... and before the job's own line there.
  [[nodiscard]] double before_line(std::uint64_t offset) const {
    return sum_before(2 * offset + 2);
  }
  [[nodiscard]] double total() const { return sums_.empty() ? 0 : sums_.back(); }
  [[nodiscard]] double wall(job::Place place) const { return place.time_s + before(place.offset); }
  [[nodiscard]] bool near(const CumulativeDelay& other, double seconds) const;
  // Where what goes by is not the same as in the other.
  class Changes {
   public:
    [[nodiscard]] bool within(std::uint64_t first_offset, std::uint64_t last_offset) const;

   private:
    friend class CumulativeDelay;
    std::vector<std::uint64_t> offsets_;  // ascending
  };
  [[nodiscard]] Changes unlike(const CumulativeDelay& other) const;

 private:
  [[nodiscard]] double sum_before(std::uint64_t key) const;
  std::vector<std::uint64_t> keys_;  // twice the offset, and one if late
  std::vector<double> sums_;
};

struct GapOutcome {
  double from_s = 0, to_s = 0;
  double start_c = 0, start_target_c = 0;     // just before the first command of the gap
  std::optional<thermal::HeaterState> start;  // the heater then
  double hot_idle_s = 0, dip_c = 1e9, wait_s = 0;
};

// A heater at full drive.
struct Drive {
  double from_s, to_s;  // wall
  std::size_t head;
  bool preheat;  // by the plan's own
};

struct Simulation {
  Figures figures;
  std::vector<HeadFigures> heads;  // hot_idle_s, energy_wh, wait_s only
  std::vector<GapOutcome> gaps;
  CumulativeDelay waits;
  std::vector<Drive> drives;
};

// Seconds in which more than `limit_w` is drawn while a preheat is under way.
[[nodiscard]] double over_limit_s(const std::vector<Drive>& drives, const job::Job& job,
                                  double limit_w);

[[nodiscard]] Simulation simulate(const job::Job& job, const Timeline& timeline,
                                  std::size_t gap_count);

}  // namespace forewarm::plan
