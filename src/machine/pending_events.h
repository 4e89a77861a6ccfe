// Events of a job whose time is not known yet when their line is read: a timer with look-ahead
// knows when a move begins only once later moves are known.
//
// An event that is added after `moves` moves gets the time at which the next one begins. Events
// come out in the order in which they were added.
#pragma once

#include <cstdint>
#include <deque>
#include <utility>

namespace forewarm::machine {

template <class Event>
class PendingEvents {
 public:
  void add(std::uint64_t moves, Event event) { pending_.push_back({moves, std::move(event)}); }
  [[nodiscard]] bool empty() const { return pending_.empty(); }
  // Calls `happen(event)` for each that was added after `moves` moves or fewer, and forgets it.
  template <class Happen>
  void settle(std::uint64_t moves, Happen happen) {
    while (!pending_.empty() && pending_.front().after_moves <= moves) {
      const Event event = std::move(pending_.front().event);
      pending_.pop_front();
      happen(event);
    }
  }

 private:
  struct Pending {
    std::uint64_t after_moves;
    Event event;
  };
  std::deque<Pending> pending_;
};

}  // namespace forewarm::machine
