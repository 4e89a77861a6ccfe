// Times of a job that are not known yet when they are met: a clock with look-ahead tells when a
// move begins only once later moves are known.
//
// What is added after `moves` moves gets the time at which the next one begins, in order.
#pragma once

#include <cstdint>
#include <deque>

#include "job/job.h"

namespace forewarm::job {

class PendingTimes {
 public:
  enum class Field : std::uint8_t { target, use_first, start };
  // `which`: of job.targets or job.uses.
  void add(std::uint64_t moves, Field field, std::size_t which) {
    pending_.push_back({moves, field, which});
  }
  [[nodiscard]] bool empty() const { return pending_.empty(); }
  // The first `moves` moves are over, or about to be, at `time_s`.
  void settle(Job& job, std::uint64_t moves, double time_s) {
    while (!pending_.empty() && pending_.front().after <= moves) {
      const Pending& p = pending_.front();
      switch (p.field) {
        case Field::target:
          job.targets[p.which].at.time_s = time_s;
          break;
        case Field::use_first:
          job.uses[p.which].first.time_s = time_s;
          break;
        case Field::start:
          job.start->time_s = time_s;
          break;
      }
      pending_.pop_front();
    }
  }

 private:
  struct Pending {
    std::uint64_t after;  // moves
    Field field;
    std::size_t which;
  };
  std::deque<Pending> pending_;
};

}  // namespace forewarm::job
