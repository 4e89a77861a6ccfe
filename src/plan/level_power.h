// Preheats moved earlier, so that heaters at full drive together never draw more than allowed.
//
// Each preheat has a window: not before its toolhead is parked, not after the moment that its need
// leaves. Placed backwards in time, each as late as its window and the power that the later ones
// leave it allow. Which of those that compete comes last decides whether all fit; all orders of a
// group are tried up to kMostTried preheats, and beyond that the one by need. Of the orders in
// which none is late, the one that moves them least; if there is none, the one that waits least in
// all, each then told as late as keeps these waits. Groups that are late take in those after them
// whose room they could use.
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

constexpr std::size_t kOther = SIZE_MAX;  // another one than any that is told apart

struct PreheatTask {
  double release_s = 0;  // not before
  double latest_s = 0;   // not after, margins included
  double need_s = 0;     // when it is waited for, if it is not ready then
  double wait_s = 0;     // it was, in the timeline that the times above are from
  double watts = 0;
  std::size_t heater = kOther;
  std::function<double(double)> drive_s;     // at full drive so long if told then
  std::function<double(double)> line_at;     // the last moment no later at which it can be told
  std::function<double(double)> line_after;  // the first no earlier
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

// `fixed`: what else draws, whatever is decided here. One result for each heating, in their order.
[[nodiscard]] std::vector<PreheatSlot> level_power(const std::vector<PreheatTask>& heatings,
                                                   const std::vector<PowerLoad>& fixed,
                                                   double limit_w);

}  // namespace forewarm::plan
