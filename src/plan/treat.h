// One gap, one policy: what its heater does between being parked and being needed.
//
// Pure, in seconds from the gap's start; knows neither job nor places. Every choice carries its
// reason with its numbers.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "plan/plan.h"
#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

struct GapQuestion {
  thermal::Hotend hotend;
  double start_c = 0;         // temperature at the start
  double start_target_c = 0;  // target there
  double standby_c = 0, max_hot_idle_s = 0;
  double ready_c = 0;  // what the preheat sets
  struct Need {
    double after_s;
    double temp_c;
  };
  std::vector<Need> needs;  // ascending; empty: nothing comes after
};

struct GapAction {
  double after_s = 0;
  double target_c = 0;
  std::string reason;
};

struct GapAnswer {
  Treatment treatment = Treatment::off;
  std::vector<GapAction> actions;
  std::optional<double> preheat_after_s;
  std::string reason;
};

[[nodiscard]] GapAnswer treat(const GapQuestion& question, const rules::Gap& gap,
                              rules::Policy policy);

// The same gap at its physical best: how long it must be hot, how late it must be. `until_s` is
// when the toolhead is picked.
struct LeastGap {
  double hot_idle_s = 0, late_s = 0;
};
[[nodiscard]] LeastGap least(const GapQuestion& question, double until_s);

}  // namespace forewarm::plan
