#include "plan/treat.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace forewarm::plan {

namespace {

// The temperature `t` seconds into a gap that is cooling towards a floor.
double parked_at(const GapQuestion& q, double floor_c, double t) {
  const double free_c = thermal::cooled_c(q.hotend, q.start_c, t);
  if (floor_c <= q.hotend.ambient_c) return free_c;
  if (q.start_c >= floor_c) return std::max(free_c, floor_c);
  // Colder than its standby: it is being driven there.
  thermal::Course course(q.hotend, q.start_c);
  course.set_target(floor_c);
  course.advance(t);
  return course.temperature_c();
}

// Seconds into the gap of the latest preheat that meets `need` with its lead stretched; < 0: none.
double latest_preheat(const GapQuestion& q, const rules::Gap& gap, double floor_c,
                      const GapQuestion::Need& need) {
  const auto arrives = [&](double t) {
    const double heat = thermal::seconds_to_heat(q.hotend, parked_at(q, floor_c, t), need.temp_c);
    return t + heat * (1 + gap.lead_stretch.value_or(gap.kLeadStretch)) +
           gap.lead_extra_s.value_or(gap.kLeadExtraS);
  };
  if (arrives(0) > need.after_s) return -1;
  double early = 0;
  double late = need.after_s;
  for (int i = 0; i < 60 && late - early > 1e-3; ++i) {
    const double middle = (early + late) / 2;
    (arrives(middle) <= need.after_s ? early : late) = middle;
  }
  return early;
}

GapAnswer timers(const GapQuestion& q, const rules::Gap& gap) {
  GapAnswer a;
  a.treatment = Treatment::hold;
  const double length = q.needs.empty() ? 1e18 : q.needs.front().after_s;
  if (length > gap.timer_standby_s) {
    a.treatment = Treatment::standby;
    a.actions.push_back({gap.timer_standby_s, q.standby_c,
                         fmt::format("standby by timer after {:.0f} s", gap.timer_standby_s)});
  }
  if (length > gap.timer_off_s) {
    a.treatment = Treatment::off;
    a.actions.push_back(
        {gap.timer_off_s, 0, fmt::format("off by timer after {:.0f} s", gap.timer_off_s)});
  }
  a.reason = a.actions.empty() ? "shorter than the timers" : a.actions.back().reason;
  return a;
}

GapAnswer hold(const GapQuestion& q, std::string reason) {
  GapAnswer a;
  a.treatment = Treatment::hold;
  a.reason = std::move(reason);
  a.actions.push_back({0, q.ready_c, "hold: " + a.reason});
  return a;
}

}  // namespace

GapAnswer treat(const GapQuestion& q, const rules::Gap& gap, rules::Policy policy) {
  if (q.needs.empty()) {
    GapAnswer a;
    a.reason = "no further use";
    a.actions.push_back({0, 0, "off: no further use"});
    return a;
  }
  if (policy == rules::Policy::timers) return timers(q, gap);
  if (policy == rules::Policy::hold) return hold(q, "policy hold");

  const thermal::Hotend& h = q.hotend;
  const double length = q.needs.front().after_s;
  const double standby_c = std::min(q.standby_c, q.ready_c);
  // What the gap would come to if it were left to cool and driven back just in time.
  double dip_c = q.start_c;
  for (const auto& need : q.needs) {
    dip_c = std::min(dip_c, thermal::dip_of_gap(h, q.start_c, need.temp_c,
                                                std::min(standby_c, q.start_c), need.after_s)
                                .dip_c);
  }
  const bool hot = q.start_c >= q.ready_c - gap.hold_drop_c;
  const double drop = std::min(q.start_c, q.ready_c) - dip_c;
  if (hot && drop < gap.hold_drop_c && length <= q.max_hot_idle_s) {
    return hold(
        q, fmt::format("parked {:.0f} s, would dip only {:.1f} C", length, std::max(0.0, drop)));
  }

  GapAnswer a;
  const double warm_c = standby_c + kHotAboveStandbyC;
  const double must_be_hot = thermal::seconds_to_cool(h, q.start_c, warm_c) +
                             thermal::seconds_to_heat(h, std::min(warm_c, q.ready_c), q.ready_c);
  const bool heated = q.start_target_c > h.ambient_c;
  if (length > gap.off_over_s) {
    a.treatment = Treatment::off;
    a.reason = fmt::format("parked {:.0f} s, more than {:.0f} s", length, gap.off_over_s);
  } else if (must_be_hot > q.max_hot_idle_s && q.start_c > warm_c) {
    a.treatment = Treatment::off;
    a.reason = fmt::format("standby would be hot for {:.0f} s, limit {:.0f} s", must_be_hot,
                           q.max_hot_idle_s);
  } else if (!heated && q.start_c < standby_c) {
    a.treatment = Treatment::off;
    a.reason = fmt::format("not yet heated, needed in {:.0f} s", length);
  } else {
    a.treatment = Treatment::standby;
    a.reason = fmt::format("parked {:.0f} s", length);
  }

  const double floor_c = a.treatment == Treatment::standby ? standby_c : 0;
  double preheat = 1e18;
  const GapQuestion::Need* binding = &q.needs.front();
  for (const auto& need : q.needs) {
    const double latest = latest_preheat(q, gap, floor_c, need);
    if (latest < preheat) {
      preheat = latest;
      binding = &need;
    }
  }
  if (preheat <= 0) {
    // Too short to let go of: heat at once, and be as little late as physics allows.
    thermal::Course course(h, q.start_c);
    course.set_target(q.start_target_c);
    course.advance(0);
    course.set_target(q.ready_c);
    const double late = course.seconds_until_warm(binding->temp_c) - binding->after_s;
    if (hot) {
      return hold(q, fmt::format("parked {:.0f} s, too short to cool and heat again", length));
    }
    a.preheat_after_s = 0;
    a.reason = late > 0
                   ? fmt::format("heated at once from {:.0f} C, {:.1f} s late", q.start_c, late)
                   : fmt::format("heated at once from {:.0f} C", q.start_c);
    a.actions.push_back({0, q.ready_c, "preheat: " + a.reason});
    return a;
  }
  const double from_c = parked_at(q, floor_c, preheat);
  if (a.treatment == Treatment::standby) {
    a.actions.push_back({0, standby_c, "standby: " + a.reason});
  } else if (heated) {
    a.actions.push_back({0, 0, "off: " + a.reason});
  }
  a.preheat_after_s = preheat;
  const double lead = binding->after_s - preheat;
  a.actions.push_back(
      {preheat, q.ready_c,
       fmt::format("preheat: {:.1f} s ahead, from {:.0f} C to {:.0f} C", lead, from_c, q.ready_c)});
  a.reason += fmt::format(", preheat {:.1f} s ahead from {:.0f} C", lead, from_c);
  return a;
}

LeastGap least(const GapQuestion& q, double until_s) {
  LeastGap out;
  const double parked_c = q.needs.empty() ? q.standby_c : std::min(q.standby_c, q.ready_c);
  const double warm_c = parked_c + kHotAboveStandbyC;
  thermal::Course course(q.hotend, q.start_c);
  if (q.needs.empty()) {
    out.hot_idle_s = course.advance(until_s, warm_c).above_s;
    return out;
  }
  const double floor_c = std::min({q.standby_c, q.ready_c, q.start_c});
  double preheat = 1e18;
  for (const auto& need : q.needs) {
    const thermal::Dip dip =
        thermal::dip_of_gap(q.hotend, q.start_c, need.temp_c, floor_c, need.after_s);
    preheat = std::min(preheat, dip.preheat_at_s);
    out.late_s = std::max(out.late_s, dip.late_s);
  }
  course.set_target(q.start_target_c > q.hotend.ambient_c ? floor_c : 0);
  const double cool = std::min(preheat, until_s);
  out.hot_idle_s = course.advance(cool, warm_c).above_s;
  course.set_target(q.ready_c);
  out.hot_idle_s += course.advance(std::max(0.0, until_s - cool), warm_c).above_s;
  return out;
}

}  // namespace forewarm::plan
