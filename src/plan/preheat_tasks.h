// The preheats that gaps ask for, as tasks for level_power.h, and what else draws power meanwhile.
//
// Each task knows where commands can stand in its gap and how long full drive takes from there, so
// levelling needs neither job nor transitions. A scheduler that also chooses treatments would be
// asked here: with what each gap may do, instead of with what it has decided alone.
#pragma once

#include <span>
#include <vector>

#include "plan/basis.h"
#include "plan/decide_gap.h"
#include "plan/level_power.h"

namespace forewarm::plan {

// A gap's heater while it waits for its preheat.
struct WaitingHeater {
  const Basis* basis;
  const Problem* problem;
  std::size_t gap;
  double floor_c;  // it cools towards; 0: off
  // The seconds of full drive that a preheat at `wall_s` takes.
  [[nodiscard]] double drive_s(double wall_s) const;
};

// Tasks refer to heaters; moving keeps that, copying would not.
struct PreheatTasks {
  std::vector<WaitingHeater> heaters;
  std::vector<PreheatTask> tasks;  // as heaters, gaps ascending
  PreheatTasks() = default;
  PreheatTasks(PreheatTasks&&) = default;
  PreheatTasks& operator=(PreheatTasks&&) = default;
};

// One for each decision that preheats. REQUIRES: `decisions` were made on `basis`, each for its gap
// alone; problem and basis outlive what is returned.
[[nodiscard]] PreheatTasks preheat_tasks(const Problem& problem, const Basis& basis,
                                         std::span<const GapDecision> decisions);

// What heaters draw on the basis but for preheats.
[[nodiscard]] std::vector<PowerLoad> other_loads(const Problem& problem, const Basis& basis);

}  // namespace forewarm::plan
