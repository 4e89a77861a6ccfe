// What every heater should be doing at every moment, as commands at places, each with its reason.
//
// A plan is made for one policy. Its figures come from simulate.h, which replays the plan's
// commands and what it leaves of the job's own, so they are what would happen, waits included.
// "Wall" times count the waits; job times (job.h) do not. Units: seconds, degrees Celsius, watts,
// watt-hours.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/error.h"
#include "job/job.h"
#include "rules/rules.h"

namespace forewarm::plan {

// Hot idle is what a parked heater spends above its standby temperature by more than this, in C.
constexpr double kHotAboveStandbyC = 5;

enum class Treatment : std::uint8_t { hold, standby, off };
[[nodiscard]] const char* name_of(Treatment treatment);

struct Command {
  enum class What : std::uint8_t { set, wait, raw };
  job::Place at;  // goes in before the line that begins here
  What what = What::set;
  std::size_t head = 0;
  int tool = 0;  // the next use's, else the last's
  double temp_c = 0;
  std::string raw;  // of What::raw, as [dialect] gives it
  std::string reason;
  int rank = 0;  // order at one place
};

struct Gap {
  std::size_t head = 0;
  std::optional<std::size_t> before, after;  // stints
  double from_s = 0, to_s = 0;               // wall
  Treatment treatment = Treatment::off;
  double dip_c = 0;
  std::optional<double> preheat_at_s;  // wall
  double wait_s = 0;
  double hot_idle_s = 0;
  double least_hot_idle_s = 0, least_wait_s = 0;  // no plan can do better
  std::string reason;
};

struct Figures {
  double duration_s = 0, wait_s = 0, hot_idle_s = 0, energy_wh = 0;
  std::uint64_t cold_starts = 0;
  double peak_heating_w = 0;
};

struct HeadFigures {
  std::uint64_t uses = 0, hold = 0, standby = 0, off = 0;
  double hot_idle_s = 0, energy_wh = 0, wait_s = 0;
};

struct Plan {
  rules::Policy policy = rules::Policy::lookahead;
  std::vector<Command> commands;      // in the order of the text
  std::vector<std::size_t> disabled;  // of job.targets, ascending
  std::vector<Gap> gaps;              // by from_s
  std::vector<HeadFigures> heads;     // as job.heads
  Figures figures;
  [[nodiscard]] bool changes_anything() const { return !commands.empty() || !disabled.empty(); }
};

// Makes the plan. Kind `refused` if the job cannot be planned safely: filament moves at a
// temperature that the job never gave, a target that full drive never reaches, or a line that would
// have to be disabled but does more than set a target.
[[nodiscard]] Result<Plan> make(const job::Job& job, const rules::Rules& rules,
                                rules::Policy policy);

// What must hold of any plan of `job`; empty, or what does not. For tests, and cheap enough to run
// after every plan.
[[nodiscard]] std::string broken_invariant(const job::Job& job, const Plan& plan);

}  // namespace forewarm::plan
