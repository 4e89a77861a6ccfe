// What a job takes from the spool of each tool, and where a spool has no more to give.
//
// A spool gives what is pushed; what is pulled back can be pushed again, but makes the spool no
// fuller. So what a job needs is the most that is off the spool at any moment, in the order of the
// text. Filament is counted as Material counts it: with the flow factor, without retractions that
// the firmware makes. How far a feeder pulls filament back in an exchange is not counted, as it
// pushes it in again. In millimetres of filament. Pure.
#pragma once

#include <cstdint>
#include <limits>
#include <map>
#include <span>
#include <vector>

#include "job/job.h"

namespace forewarm::job {

// Filament that inserted lines move for a tool, before the line at `offset`.
struct InsertedFeed {
  std::uint64_t offset = 0;
  int tool = 0;
  double net_mm = 0;        // forwards less backwards
  double most_mm = 0;       // the most of that at any moment; not below 0
  bool before_use = false;  // before the job itself moves filament there; else after that
};

struct Taken {
  double net_mm = 0;   // at the end
  double most_mm = 0;  // at any moment
};
// By tool, of the first `visits` of the job. REQUIRES: `fed` is in the order of the text.
[[nodiscard]] std::map<int, Taken> taken(const Job& job, std::span<const InsertedFeed> fed = {},
                                         std::size_t visits = SIZE_MAX);

// So much more than there is is none, in mm: it is the rounding of sums.
constexpr double kNoFilamentMm = 1e-6;

// What a scan is asked to watch.
struct WatchedSpools {
  std::map<int, double> usable_mm;  // by tool
  std::vector<InsertedFeed> fed;    // in the order of the text
};

// Counts what is taken from watched spools.
class SpoolWatch {
 public:
  explicit SpoolWatch(const WatchedSpools* watched);
  [[nodiscard]] bool watches() const { return watched_ != nullptr; }
  // Filament moves; whether its spool ends with it: true once.
  [[nodiscard]] bool move(int tool, double mm);
  // Where something is inserted next; UINT64_MAX: nowhere.
  [[nodiscard]] std::uint64_t next_offset() const { return next_offset_; }
  // What is inserted next; whether its spool ends with it. REQUIRES: there is something.
  [[nodiscard]] const InsertedFeed& next() const { return watched_->fed[next_]; }
  [[nodiscard]] bool insert();

 private:
  struct Spool {
    double usable_mm = 0, taken_mm = 0;
    bool over = false;
  };
  void find_next();
  const WatchedSpools* watched_;
  std::map<int, Spool> spools_;
  std::size_t next_ = 0;
  std::uint64_t next_offset_ = std::numeric_limits<std::uint64_t>::max();
};

}  // namespace forewarm::job
