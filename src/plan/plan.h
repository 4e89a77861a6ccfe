// What every heater should be doing at every moment, as commands at places, each with its reason.
//
// A plan is made for one policy. Its figures come from simulate.h, which replays the plan's
// commands and what it leaves of the job's own, so they are what would happen, waits included.
// "Wall" times count the waits; job times (job.h) do not. Units: seconds, degrees Celsius, watts,
// watt-hours.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.h"
#include "job/job.h"
#include "job/spools.h"
#include "plan/command.h"
#include "plan/cumulative_delay.h"
#include "rules/rules.h"

namespace forewarm::plan {

// Hot idle is what a parked heater spends above its standby temperature by more than this, in C.
constexpr double kHotAboveStandbyC = 5;

enum class Treatment : std::uint8_t { hold, standby, off };
[[nodiscard]] const char* name_of(Treatment treatment);

// Why a gap is treated as it is, with its numbers. describe.h says it. Costs are in the currency of
// [gap]; numbers that do not belong to the cause are 0.
struct Rationale {
  enum class Cause : std::uint8_t {
    no_further_use,
    timer,  // limit_s: the timer that it outlasted; 0: none
    policy_hold,
    small_dip,        // held: would dip by drop_c only
    too_short,        // held: to cool and heat again
    no_line,          // held: no line stands between parking and preheat
    heated_at_once,   // from from_c, late_s late
    over_off,         // off: longer than limit_s
    over_hot_idle,    // off: standby would be hot for hot_s, limit_s are allowed
    not_heated,       // off: was not heated before
    cheaper_off,      // off: by the costs
    cheaper_hold,     // held: by the costs, against standby
    cheaper_standby,  // standby: by the costs
    within_off,       // standby: no longer than limit_s
    no_time_for_off,  // standby: longer than limit_s, but from off it would be late
    warm_for_power,   // held or standby: cooler, it or another would be late by the heating limit
  };
  Cause cause = Cause::no_further_use;
  double length_s = 0;       // parked: until it is picked
  bool after_pause = false;  // ... from the last pause of the job on, as what it waited at then
  double drop_c = 0, hot_s = 0, limit_s = 0, late_s = 0;
  double cost_off = 0, cost_standby = 0, cost_hold = 0;
  // Of the preheat, if there is one.
  double from_c = 0, to_c = 0;    // temperatures
  double lead_s = 0, heat_s = 0;  // before the deadline; what heating takes of it
  enum class Bound : std::uint8_t { use, exchange, line, power } bound = Bound::use;
  double earlier_s = 0;  // Bound::line, power: than the deadline itself asked for
};

struct GapPlan {
  std::size_t head = 0;
  std::optional<std::size_t> before, after;  // uses
  double from_s = 0, to_s = 0;               // wall
  Treatment treatment = Treatment::off;
  double dip_c = 0;
  std::optional<double> preheat_at_s;  // wall
  double wait_s = 0;
  double hot_idle_s = 0;
  double least_hot_idle_s = 0, least_wait_s = 0;  // no plan can do better
  Rationale rationale;
  std::string reason;
};

// What the machine waits for heaters at; together Figures::wait_s.
struct WaitCauses {
  double start_code_s = 0;  // up to the first print move
  double gap_s = 0;         // for a toolhead that was parked
  double exchange_s = 0;    // for one that is mounted, at an exchange
  double use_s = 0;         // for another target within a use
  double end_s = 0;         // after a last use
};

struct Figures {
  double duration_s = 0, wait_s = 0, hot_idle_s = 0, energy_wh = 0;
  std::uint64_t cold_starts = 0;
  double peak_heating_w = 0;    // of heaters at full drive together
  double peak_all_w = 0;        // ... and of those that hold their temperature beside them
  double over_limit_s = 0;      // planned: in which full drive exceeds the heating limit
  double over_limit_own_s = 0;  // likewise, by what the job itself heats alone
  double sequence_s = 0;        // step sequences, and what they wait for
  double runs_on_s = 0;  // of job time: stops that are not made, as what asks for them is removed
  double guard_s = 0;    // what waits take besides, by wait_takes_s
  WaitCauses waits = {};
};

// Of wall time.
struct Stretch {
  double from_s = 0, to_s = 0;
  [[nodiscard]] double seconds() const { return to_s - from_s; }
  void take_longer(Stretch other) {
    if (other.seconds() > seconds()) *this = other;
  }
};

struct HeadFigures {
  std::uint64_t uses = 0, hold = 0, standby = 0, off = 0;
  double hot_idle_s = 0, energy_wh = 0, wait_s = 0;
  Stretch hot_parked;  // the longest on end in which it is hot idle
};

// What the machine waits for heaters at, and spends on step sequences, from the last filament that
// moves before a change to the first that moves after it. A redundant one has none.
struct ChangeDelay {
  double wait_s = 0, sequence_s = 0;
};

struct Plan {
  rules::Policy policy = rules::Policy::lookahead;
  std::vector<Command> commands;           // in the order of the text
  std::vector<std::size_t> disabled;       // of job.targets, ascending
  std::vector<GapPlan> gaps;               // by from_s
  std::vector<HeadFigures> heads;          // as job.heads
  std::vector<double> change_at_s;         // as job.selects: when each begins, wall
  std::vector<ChangeDelay> change_delays;  // as job.tool_changes
  // The longest in which the machine gets no command: one line takes it all.
  Stretch without_command;
  std::vector<double> pause_at_s;       // as job.pauses, wall: none takes time of the plan's
  std::map<int, double> step_purge_mm;  // by tool: pushed through by sequences
  std::vector<job::InsertedFeed> fed;   // by sequences, in the order of the text
  CumulativeDelay delays;               // from job time to wall time
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
