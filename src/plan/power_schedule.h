// Decides together what gaps that compete for power do: how warm each heater waits, and when its
// preheat begins, so that heaters at full drive together never draw more than allowed.
//
// This is scheduling with one renewable resource (power), release times (a toolhead is parked),
// deadlines (it is wanted) and heating times that grow the later heating begins, as heaters cool.
// A wait stops the machine and makes everything after it later by as much, so the waits of a group
// add up to its greatest lateness: the least waiting is the least maximum lateness, a regular
// measure. For such a measure some schedule in which every preheat begins as early as those that
// begin before it allow is best (active schedules: Kolisch & Hartmann, in: Project Scheduling,
// 1999; from memory). Heating times that grow with their start: Gawiejnowicz, Time-Dependent
// Scheduling, 2008 (from memory).
//
// Preheats that reach into each other's time are a group. Of a group up to kMaxExact:
//   1. All orders are searched, by branch and bound, for one in which none is late and preheats
//      are moved earlier least in all.
//   2. If there is none, orders are searched for the least waiting. Where keeping heaters warmer
//      shortens it further, they are, from the shortest gap on, and as few as it takes.
//   3. Then each preheat begins as late as these waits and the others allow.
// A group that is larger and late goes on to grow up to kMaxGroup, and only some orders near that
// by deadline are searched. One that is larger and in time is cut: the preheats that come last stay
// where they are placed, and the search goes on with those before them. A search that has seen
// kMaxNodes partial orders takes the best one it has; it begins with the order by deadline.
//
// Pure; wall seconds of one timeline, in which each gap's wait still is what it was; watts.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace forewarm::plan {

constexpr std::size_t kMaxExact = 12;
constexpr std::size_t kMaxGroup = 32;
constexpr std::size_t kMaxNodes = 5'000;
constexpr std::size_t kOther = SIZE_MAX;  // a heater that is no other's
// Two drives that only touch are kept a little apart, so that rounding does not overlap them.
constexpr double kApartS = 0.1;

// A heater in its gap, by level: 0 is what the gap does alone, and each further one is warmer.
class ParkedHeater {
 public:
  virtual ~ParkedHeater() = default;
  [[nodiscard]] virtual std::size_t levels() const = 0;
  // Whether it has to be driven for its use; else it waits hot.
  [[nodiscard]] virtual bool is_driven(std::size_t level) const = 0;
  // The last moment at which its preheat may begin, lead included.
  [[nodiscard]] virtual double latest_s(std::size_t level) const = 0;
  // Seconds of full drive, if it was parked so long when its preheat begins. Who begins later is
  // not ready sooner.
  [[nodiscard]] virtual double drive_s(std::size_t level, double parked_s) const = 0;
  // Seconds until a wait for it is over: near its target a heater may be slow, and draw less.
  [[nodiscard]] virtual double ready_s(std::size_t level, double parked_s) const {
    return drive_s(level, parked_s);
  }
  // The last moment, no later, at which a command can stand; the first one, no earlier.
  [[nodiscard]] virtual double line_at(double wall_s) const = 0;
  [[nodiscard]] virtual double line_after(double wall_s) const = 0;
};

struct PreheatTask {
  double release_s = 0;   // when it is parked
  double deadline_s = 0;  // when it is waited for, if it is not ready then
  double wait_s = 0;      // how long it was, in the timeline that the times above are from
  double watts = 0;
  std::size_t heater = kOther;
  const ParkedHeater* parked = nullptr;
};

struct PowerLoad {
  double from_s, to_s, watts;
  std::size_t heater = kOther;  // draws nothing beside itself
};

struct PreheatSlot {
  double at_s = 0;  // means nothing where the heater is not driven
  std::size_t level = 0;
  bool late = false;  // somebody in its group is waited for
  double wait_s = 0;  // how long it is, by this schedule
};

struct PowerSchedule {
  std::vector<PreheatSlot> slots;  // as the tasks
  bool exact = true;  // no group was cut or too large, no search for the least waiting ended early
};

// `fixed`: what else draws, whatever is decided here. REQUIRES: of tasks with one deadline, those
// come first that are waited for first.
[[nodiscard]] PowerSchedule schedule_power(const std::vector<PreheatTask>& tasks,
                                           const std::vector<PowerLoad>& fixed, double limit_w);

}  // namespace forewarm::plan
