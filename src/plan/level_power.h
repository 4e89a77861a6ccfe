// Preheats moved earlier, so that heaters at full drive together never draw more than allowed.
//
// Each preheat has a window: it is not before its toolhead is parked, and not after the moment that
// its deadline leaves. Preheats are placed backwards in time, each as late as its window and the
// power that the later ones leave it allow. Which of those that compete comes last decides whether
// all fit; all orders of a group are tried up to kMaxTried preheats, and beyond that the one by
// deadline. Of the orders in which none is late, the one that moves them least is taken; if there
// is none, the one that waits least in all, and each preheat is then as late as keeps these waits.
// Groups that are late take in those after them whose room they could use.
//
// Placing as late as possible in some order reaches a best placement: the serial scheme of
// Kolisch & Hartmann (Project Scheduling, 1999; from memory), time reversed. Pure; wall seconds and
// watts.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <vector>

namespace forewarm::plan {

constexpr std::size_t kOther = SIZE_MAX;  // a heater that is no other's
// Two drives that only touch are kept a little apart, so that rounding does not overlap them.
constexpr double kApartS = 0.1;

struct PreheatTask {
  double release_s = 0;   // not before
  double latest_s = 0;    // not after, lead included
  double deadline_s = 0;  // when it is waited for, if it is not ready then
  double wait_s = 0;      // how long it was, in the timeline that the times above are from
  double watts = 0;
  std::size_t heater = kOther;
  std::function<double(double)> drive_s;     // seconds of full drive, if preheated then
  std::function<double(double)> line_at;     // the last moment, no later, at which a line stands
  std::function<double(double)> line_after;  // the first one, no earlier
};

struct PowerLoad {
  double from_s, to_s, watts;
  std::size_t heater = kOther;  // draws nothing beside itself
};

struct PreheatSlot {
  double at_s = 0;
  bool late = false;  // no placement of its group has all in time
};

constexpr std::size_t kMaxTried = 6;

// `fixed`: what else draws, whatever is decided here. One slot for each task, in their order.
[[nodiscard]] std::vector<PreheatSlot> level_power(const std::vector<PreheatTask>& tasks,
                                                   const std::vector<PowerLoad>& fixed,
                                                   double limit_w);

}  // namespace forewarm::plan
