#include "plan/gap_cost.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "plan/plan.h"

namespace forewarm::plan {

GapCost cost_of(const GapContext& context, const rules::GapSettings& gap, double floor_c,
                double preheat_s) {
  GapCost out;
  const double warm_c = standby_of(context) + kHotAboveStandbyC;
  thermal::HeaterState heater = heater_at_start(context);
  heater.set_target(floor_c);
  thermal::HeaterUsage spent = heater.advance(std::max(0.0, preheat_s), warm_c);
  out.restart = heater.target_c() <= 0;
  heater.set_target(context.ready_c);
  spent.add(heater.advance(std::max(0.0, context.deadlines.front().after_s - preheat_s), warm_c));
  out.hot_idle_s = spent.above_s;
  out.energy_j = spent.energy_j;
  out.cost = out.hot_idle_s / 3600 * gap.hot_idle_cost_per_h +
             out.energy_j / 3.6e6 * gap.energy_cost_per_kwh + (out.restart ? gap.restart_cost : 0);
  return out;
}

double break_even_s(const thermal::Hotend& hotend, double work_c, double standby_c,
                    const rules::GapSettings& gap) {
  GapContext context;
  context.hotend = hotend;
  context.start_c = context.start_target_c = context.ready_c = work_c;
  context.standby_c = standby_c;
  const auto off_is_cheaper = [&](double length_s) {
    context.deadlines = {{length_s, work_c}};
    const auto cost = [&](double floor_c) {
      return cost_of(context, gap, floor_c,
                     thermal::dip_of_gap(hotend, work_c, work_c, floor_c, length_s).preheat_at_s)
          .cost;
    };
    return cost(0) < cost(std::min(standby_c, work_c));
  };
  double shorter = 0;
  double longer = 1e7;
  if (!off_is_cheaper(longer)) return std::numeric_limits<double>::infinity();
  while (longer - shorter > 1e-3) {
    const double middle = (shorter + longer) / 2;
    (off_is_cheaper(middle) ? longer : shorter) = middle;
  }
  return longer;
}

GapBound physical_bound(const GapContext& context, double until_s) {
  GapBound out;
  const double warm_c = standby_of(context) + kHotAboveStandbyC;
  if (context.deadlines.empty()) {
    thermal::HeaterState heater(context.hotend, context.start_c);
    out.hot_idle_s = heater.advance(until_s, warm_c).above_s;
    return out;
  }
  const double floor_c = std::min({context.standby_c, context.ready_c, context.start_c});
  double preheat = 1e18;
  for (const GapContext::Deadline& deadline : context.deadlines) {
    thermal::Hotend hotend = hotend_for(context, deadline);
    if (deadline.window_c) hotend.reached_c = *deadline.window_c;
    const thermal::Dip dip =
        thermal::dip_of_gap(hotend, context.start_c, deadline.temp_c, floor_c, deadline.after_s);
    preheat = std::min(preheat, dip.preheat_at_s);
    // A drive that is under way has its dead time behind it, or a part of it.
    thermal::HeaterState at_once = heater_at_start(context);
    at_once.set_target(deadline.temp_c);
    const double warm_s = deadline.window_c
                              ? at_once.seconds_until_at(deadline.temp_c - *deadline.window_c)
                              : at_once.seconds_until_warm(deadline.temp_c);
    const double late_s = warm_s - deadline.after_s;
    out.late_s = std::max(out.late_s, std::min(dip.late_s, late_s));
  }
  thermal::HeaterState heater(context.hotend, context.start_c);
  heater.set_target(context.start_target_c > context.hotend.ambient_c ? floor_c : 0);
  const double cool = std::min(preheat, until_s);
  out.hot_idle_s = heater.advance(cool, warm_c).above_s;
  heater.set_target(context.ready_c);
  out.hot_idle_s += heater.advance(std::max(0.0, until_s - cool), warm_c).above_s;
  return out;
}

}  // namespace forewarm::plan
