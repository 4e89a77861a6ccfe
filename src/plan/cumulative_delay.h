// Seconds that pass before places of the job beside its own time, cumulative: waits, and step
// sequences. What they take less, as motion does not come to rest for what is taken out, is below
// 0.
//
// At one place they are early, where a lift that ended before comes down; late, where they follow
// the sequence of what is put away there; in between, where most commands stand; or the job's own
// line's, which nothing inserted at the place follows. "Wall" times count these seconds; job times
// do not.
#pragma once

#include <cstdint>
#include <vector>

#include "job/job.h"

namespace forewarm::plan {

class CumulativeDelay {
 public:
  enum class Slot : std::uint8_t { early, between, late, line };
  static constexpr std::uint64_t kSlots = 4;
  void add(std::uint64_t offset, Slot slot, double seconds);  // in the order of the text
  // What passes before the lines inserted at `offset`, behind the early ones ...
  [[nodiscard]] double before(std::uint64_t offset) const {
    return sum_before(kSlots * offset + 1);
  }
  // ... before the late ones there ...
  [[nodiscard]] double before_late(std::uint64_t offset) const {
    return sum_before(kSlots * offset + 2);
  }
  // ... and before the job's own line there.
  [[nodiscard]] double before_line(std::uint64_t offset) const {
    return sum_before(kSlots * offset + 3);
  }
  [[nodiscard]] double total() const { return sums_.empty() ? 0 : sums_.back(); }
  [[nodiscard]] double wall(job::Place place) const { return place.time_s + before(place.offset); }
  [[nodiscard]] bool near(const CumulativeDelay& other, double seconds) const;
  // Where not the same passes as in another.
  class Changes {
   public:
    [[nodiscard]] bool within(std::uint64_t first_offset, std::uint64_t last_offset) const;

   private:
    friend class CumulativeDelay;
    std::vector<std::uint64_t> offsets_;  // ascending
  };
  [[nodiscard]] Changes changes_from(const CumulativeDelay& other) const;

 private:
  [[nodiscard]] double sum_before(std::uint64_t key) const;
  std::vector<std::uint64_t> keys_;  // kSlots times the offset, and the slot
  std::vector<double> sums_;
};

}  // namespace forewarm::plan
