#include "plan/gap_context.h"

#include <algorithm>
#include <cmath>

#include "plan/plan.h"

namespace forewarm::plan {

double length_s(const GapContext& context) {
  return context.parked_s.value_or(context.deadlines.front().after_s);
}

namespace {

bool driven_to_standby(const GapContext& context, double standby_c) {
  return context.start_c < standby_c - thermal::kRoundingC;
}

}  // namespace

double standby_of(const GapContext& context) {
  if (context.deadlines.empty()) return context.standby_c;
  const double standby_c = std::min(context.standby_c, context.ready_c);
  return driven_to_standby(context, standby_c) && context.limited ? 0 : standby_c;
}

double hot_at_standby_s(const GapContext& context) {
  const double warm_c = standby_of(context) + kHotAboveStandbyC;
  return thermal::seconds_to_cool(context.hotend, context.start_c, warm_c) +
         thermal::seconds_to_heat(context.hotend, std::min(warm_c, context.ready_c),
                                  context.ready_c);
}

std::optional<double> warmer_floor(const GapContext& context, Warmth warmth) {
  const bool hot = context.start_c >= context.ready_c - thermal::kRoundingC;
  const bool heated = context.start_target_c > context.hotend.ambient_c;
  if (warmth == Warmth::standby) {
    if (!heated) return std::nullopt;
    const bool too_hot = hot_at_standby_s(context) > context.max_hot_idle_s &&
                         context.start_c > standby_of(context) + kHotAboveStandbyC;
    if (too_hot || standby_of(context) <= context.hotend.ambient_c) return std::nullopt;
    return standby_of(context);
  }
  if (length_s(context) > context.max_hot_idle_s) return std::nullopt;
  if (hot) return context.ready_c;
  if (!heated) return std::nullopt;
  const double held_c = std::min(context.start_target_c, context.ready_c);
  if (context.start_c < held_c - thermal::kRoundingC) return std::nullopt;
  return held_c;
}

thermal::HeaterState heater_at_start(const GapContext& context) {
  if (context.start) return *context.start;
  thermal::HeaterState heater(context.hotend, context.start_c);
  heater.set_target(context.start_target_c);
  return heater;
}

thermal::Hotend hotend_for(const GapContext& context, const GapContext::Deadline& deadline) {
  thermal::Hotend hotend = context.hotend;
  if (deadline.window_c) hotend.settle_s = 0;
  return hotend;
}

bool starts_below(const GapContext& context, double floor_c) {
  return floor_c > context.hotend.ambient_c && context.start_c < floor_c;
}

thermal::HeaterState driven_to_floor(const GapContext& context, double floor_c, double after_s) {
  thermal::HeaterState heater = heater_at_start(context);
  heater.set_target(floor_c);
  heater.advance(after_s);
  return heater;
}

double parked_c(const GapContext& context, double floor_c, double after_s) {
  if (starts_below(context, floor_c)) {
    return driven_to_floor(context, floor_c, after_s).temperature_c();
  }
  const double free_c = thermal::cooled_c(context.hotend, context.start_c, after_s);
  return floor_c <= context.hotend.ambient_c ? free_c : std::max(free_c, floor_c);
}

double heating_s(const GapContext& context, double floor_c, double after_s, double to_c) {
  if (starts_below(context, floor_c)) {
    thermal::HeaterState heater = driven_to_floor(context, floor_c, after_s);
    heater.set_target(to_c);
    return heater.seconds_until_warm(to_c);
  }
  const double from_c = parked_c(context, floor_c, after_s);
  return held_at(context.hotend, floor_c, from_c)
             ? thermal::seconds_to_heat_held(context.hotend, from_c, to_c)
             : thermal::seconds_to_heat(context.hotend, from_c, to_c);
}

bool held_at(const thermal::Hotend& hotend, double floor_c, double temp_c) {
  return floor_c > hotend.ambient_c && std::abs(temp_c - floor_c) <= thermal::kRoundingC;
}

}  // namespace forewarm::plan
