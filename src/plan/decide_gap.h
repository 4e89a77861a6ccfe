// One gap, one policy: what its heater does between being parked and being needed.
//
// Pure, in seconds from the gap's start; knows neither job nor places. What is decided comes with
// its cause and its numbers as data; words.h says them.
//
// Policy look-ahead, in this order: not late where the gap allows it; held where the dip would be
// under hold_drop_c; off where standby would break max_hot_idle_s or the gap is longer than
// off_over_s, else standby. With off_over_s = "best", whichever of standby, off and holding costs
// least. What is let go of is let go of at the start, and told to heat at the last line that meets
// every need with its margin: nothing let go of later, or told earlier, is cheaper, as cost grows
// with temperature (tests try all sequences of commands in small gaps).
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "plan/lead_time.h"
#include "plan/plan.h"
#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

struct GapContext {
  thermal::Hotend hotend;
  double start_c = 0;         // temperature at the start
  double start_target_c = 0;  // target there
  // The heater there, perhaps in the midst of a drive; without it, as if its target were new.
  std::optional<thermal::HeaterState> start = {};
  double standby_c = 0, max_hot_idle_s = 0;
  double ready_c = 0;                   // what the preheat sets
  std::optional<double> parked_s = {};  // until it is picked; without it, until the first need
  struct Need {
    double after_s;
    double temp_c;
    bool exchange = false;  // the feeder's, not the print's
  };
  std::vector<Need> needs;  // ascending; empty: nothing comes after
  // Changes of tool, ascending, on a clock that shows `delays_from_s` when the gap starts.
  std::span<const ChangeoverTime> delays = {};
  double delays_from_s = 0;
  std::optional<double> preheat_at_s = {};  // the preheat's moment, if shared power decides it
  // Where a command can stand: the last moment no later than one. Any, if empty.
  std::function<double(double)> line_at = {};
};

struct GapAction {
  double after_s = 0;
  double target_c = 0;
  enum class Kind : std::uint8_t { hold, standby, off, preheat, timer_standby, timer_off } kind;
};

struct GapDecision {
  Treatment treatment = Treatment::off;
  Rationale rationale;
  std::vector<GapAction> actions;
  std::optional<double> preheat_after_s;
};

[[nodiscard]] GapDecision decide_gap(const GapContext& question, const rules::GapSettings& gap,
                                     const LeadTimeModel& margin, rules::Policy policy);

// What a gap costs that is let go of to `floor_c` (0: off) at its start and told to heat at
// `preheat_s`, until its first need: hot idle, energy and restart by the weights of [gap].
struct GapCost {
  double hot_idle_s = 0, energy_j = 0;
  bool restart = false;
  double cost = 0;
};
[[nodiscard]] GapCost cost_of(const GapContext& question, const rules::GapSettings& gap,
                              double floor_c, double preheat_s);

// The gap length from which on off costs less than standby, for a heater that comes from `work_c`
// and goes back there; infinity if it never does. Between states of rate r and a wake-up cost of b
// the break-even is b/r (Albers, Energy-Efficient Algorithms, CACM 53(5), 2010); here rate and cost
// follow from the heater.
[[nodiscard]] double break_even_s(const thermal::Hotend& hotend, double work_c, double standby_c,
                                  const rules::GapSettings& gap);

// The temperature `after_s` into a gap that cools towards a floor (0: none), and the seconds of
// full drive from there to `to_c`.
[[nodiscard]] double parked_at(const GapContext& question, double floor_c, double after_s);
[[nodiscard]] double drive_s(const GapContext& question, double floor_c, double after_s,
                             double to_c);

// The same gap at its physical best: how long it must be hot, how late it must be. `until_s` is
// when the toolhead is picked.
struct LeastGap {
  double hot_idle_s = 0, late_s = 0;
};
[[nodiscard]] LeastGap least(const GapContext& question, double until_s);

}  // namespace forewarm::plan
