// The time of a group of preheats while it is decided how long each is waited for.
//
// The timeline that the group comes from holds what each wait was. A GroupClock takes these waits
// out and puts others in their place: what stands behind a wait moves with it. No command can stand
// within a wait. Waits become known one by one, in the order of the text.
//
// For power_group.h. Pure; wall seconds. "Given" is the timeline that the group comes from.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

#include "plan/power_schedule.h"

namespace forewarm::plan {

class GroupClock {
 public:
  // No wait is known yet. REQUIRES: no more than kMaxGroup stops are added, in the order of the
  // text.
  void add_stop(double given_s, double waited_s);
  [[nodiscard]] std::size_t stops() const { return stops_; }
  // How many waits are known.
  [[nodiscard]] std::size_t known() const { return known_; }
  // The next wait takes so long.
  void wait(double seconds);
  void forget_waits();
  // No wait takes any time.
  void wait_for_none();
  [[nodiscard]] double waited_s() const { return total_s_; }
  [[nodiscard]] double waited_s(std::size_t stop) const { return wait_s_[stop]; }

  // When stop `k` is reached, before its wait, were the waits before it that are not known yet 0.
  [[nodiscard]] double stop_s(std::size_t k) const;
  [[nodiscard]] double given_stop_s(std::size_t k) const { return given_s_[k]; }
  // How many stops come before a moment of the given timeline.
  [[nodiscard]] std::size_t stops_before(double given_s) const;
  // A moment of the given timeline that `stops` come before, likewise.
  [[nodiscard]] double moved(double given_s, std::size_t stops) const;
  // The same, were the waits that are not known yet as they were given.
  [[nodiscard]] double as_known(double given_s) const {
    return given_s + shift_s_[std::min(stops_before(given_s), known_)];
  }
  // Back.
  [[nodiscard]] double given(double wall_s) const;
  // The last moment, no later than `wall_s`, at which a command of the heater can stand. REQUIRES:
  // all waits are known.
  [[nodiscard]] double line_at(const ParkedHeater& heater, double wall_s) const;
  // Behind the known waits: from there on, the given timeline is this much later here.
  [[nodiscard]] double shift_s() const { return shift_s_[known_]; }

 private:
  [[nodiscard]] std::size_t passed_at(double wall_s) const;
  std::size_t stops_ = 0, known_ = 0;
  double total_s_ = 0;
  std::array<double, kMaxGroup> given_s_{}, waited_s_{}, wait_s_{};
  std::array<double, kMaxGroup + 1> shift_s_{};  // behind so many waits
  std::array<double, kMaxGroup + 1> was_s_{};    // what was waited at so many stops
};

}  // namespace forewarm::plan
