#include "plan/decide_gap.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace forewarm::plan {

namespace {

using Need = GapContext::Need;
using Cause = Rationale::Cause;

double parked_standby_c(const GapContext& q) {
  return q.needs.empty() ? q.standby_c : std::min(q.standby_c, q.ready_c);
}

bool held_at(const thermal::Hotend& h, double floor_c, double temp_c) {
  return floor_c > h.ambient_c && std::abs(temp_c - floor_c) <= thermal::kSameC;
}

thermal::HeaterState start_of(const GapContext& q) {
  if (q.start) return *q.start;
  thermal::HeaterState course(q.hotend, q.start_c);
  course.set_target(q.start_target_c);
  return course;
}

// Whether it is colder than the floor that it is parked at: it is driven there first.
bool starts_below(const GapContext& q, double floor_c) {
  return floor_c > q.hotend.ambient_c && q.start_c < floor_c;
}

thermal::HeaterState parked_below(const GapContext& q, double floor_c, double after_s) {
  thermal::HeaterState course = start_of(q);
  course.set_target(floor_c);
  course.advance(after_s);
  return course;
}

// The lead that the rules want, told `after_s` into the gap.
double lead_at(const GapContext& q, const LeadTimeModel& margin, double floor_c, double after_s,
               double to_c, double changes_s, double variance, double has_s) {
  if (starts_below(q, floor_c)) {
    thermal::HeaterState course = parked_below(q, floor_c, after_s);
    const double from_c = course.temperature_c();
    course.set_target(to_c);
    return margin.lead_of_s(course.seconds_until_warm(to_c), q.hotend, from_c, to_c, changes_s,
                            variance);
  }
  const double from_c = parked_at(q, floor_c, after_s);
  return margin.lead_s(q.hotend, from_c, held_at(q.hotend, floor_c, from_c), to_c, changes_s,
                       variance, has_s);
}

// The latest moment at which told to heat, the heater meets `need` with its margin; < 0: none.
// Between two changes of tool that moment is found by halving, as what is left falls with time; a
// change that lies behind it takes its uncertainty with it, so the last stretch comes first.
double latest_preheat(const GapContext& q, const LeadTimeModel& margin, double floor_c,
                      const Need& need) {
  double changes_s = 0;
  double variance = 0;
  const auto in_time = [&](double t) {
    const double has_s = need.after_s + 1e-9 - t;
    return lead_at(q, margin, floor_c, t, need.temp_c, changes_s, variance, has_s) <= has_s;
  };
  auto before = q.delays.begin();
  if (!margin.plain()) {
    before = std::lower_bound(
        q.delays.begin(), q.delays.end(), q.delays_from_s + need.after_s - 1e-6,
        [](const ChangeoverTime& d, double absolute_s) { return d.from_s < absolute_s; });
  }
  double end = need.after_s;
  while (end >= 0) {
    const bool first = before == q.delays.begin();
    const ChangeoverTime* delay = first ? nullptr : &*(before - 1);
    const double begin =
        delay == nullptr ? 0 : std::clamp(delay->to_s - q.delays_from_s, 0.0, need.after_s);
    if (begin <= end && in_time(begin)) {
      // Once it has come down to its floor, the lead is what it is.
      const double guess =
          end - margin.lead_s(q.hotend, floor_c, true, need.temp_c, changes_s, variance);
      if (end == need.after_s && guess >= begin && floor_c > q.hotend.ambient_c &&
          std::abs(parked_at(q, floor_c, guess) - floor_c) < thermal::kSameC) {
        return guess;
      }
      double early = begin;
      double late = end;
      if (in_time(late)) return late;
      while (late - early > 1e-3) {
        const double middle = (early + late) / 2;
        (in_time(middle) ? early : late) = middle;
      }
      return early;
    }
    if (begin <= 0) return -1;
    changes_s += delay->to_s - delay->from_s;
    variance += delay->variance_s2;
    end = std::min(end, delay->from_s - q.delays_from_s);
    --before;
  }
  return -1;
}

// Whether it does, told at `t`.
bool meets(const GapContext& q, const LeadTimeModel& margin, double floor_c, const Need& need,
           double t) {
  double changes_s = 0;
  double variance = 0;
  if (!margin.plain()) {
    auto d = std::lower_bound(
        q.delays.begin(), q.delays.end(), q.delays_from_s + t - 1e-6,
        [](const ChangeoverTime& delay, double absolute_s) { return delay.from_s < absolute_s; });
    for (; d != q.delays.end() && d->from_s < q.delays_from_s + need.after_s - 1e-6; ++d) {
      changes_s += d->to_s - d->from_s;
      variance += d->variance_s2;
    }
  }
  return t + lead_at(q, margin, floor_c, t, need.temp_c, changes_s, variance,
                     std::numeric_limits<double>::infinity()) <=
         need.after_s + 1e-6;
}

// Letting go of the heater down to a floor (0: off), and the last preheat that this allows.
struct Option {
  double floor_c = 0;
  bool in_time = false, has_line = false;
  double preheat_s = 0, asked_s = 0;  // where a command can stand; as the need asks for
  const Need* need = nullptr;
  bool power = false;  // earlier for the heating limit
  [[nodiscard]] bool possible() const { return in_time && has_line; }
};

Option option_of(const GapContext& q, const LeadTimeModel& margin, double floor_c) {
  Option o;
  o.floor_c = floor_c;
  o.asked_s = std::numeric_limits<double>::infinity();
  for (const Need& need : q.needs) {
    const double latest = latest_preheat(q, margin, floor_c, need);
    if (latest < o.asked_s) {
      o.asked_s = latest;
      o.need = &need;
    }
  }
  const double wanted = q.preheat_at_s.value_or(o.asked_s);
  o.power = q.preheat_at_s.has_value();
  o.in_time = wanted > 0;
  o.preheat_s = o.in_time ? wanted : 0;
  if (o.in_time && q.line_at) {
    o.preheat_s = q.line_at(wanted);
    // Just before it reaches its floor it takes longer than from there: it cools on in the dead
    // time. A line there may not do although the moment asked for would.
    constexpr int kMaxLines = 100;
    for (int i = 0; !o.power && o.preheat_s > 0 && !meets(q, margin, floor_c, *o.need, o.preheat_s);
         ++i) {
      o.preheat_s = i < kMaxLines ? q.line_at(o.preheat_s - 1e-6) : 0;
    }
  }
  o.has_line = o.preheat_s > 0;
  return o;
}

double length_s(const GapContext& q) { return q.parked_s.value_or(q.needs.front().after_s); }

GapDecision timers(const GapContext& q, const rules::GapSettings& gap) {
  GapDecision a;
  a.treatment = Treatment::hold;
  a.rationale.cause = Cause::timer;
  a.rationale.length_s = length_s(q);
  if (a.rationale.length_s > gap.timer_standby_s) {
    a.treatment = Treatment::standby;
    a.rationale.limit_s = gap.timer_standby_s;
    a.actions.push_back({gap.timer_standby_s, q.standby_c, GapAction::Kind::timer_standby});
  }
  if (a.rationale.length_s > gap.timer_off_s) {
    a.treatment = Treatment::off;
    a.rationale.limit_s = gap.timer_off_s;
    a.actions.push_back({gap.timer_off_s, 0, GapAction::Kind::timer_off});
  }
  return a;
}

GapDecision hold(const GapContext& q, const Rationale& rationale) {
  GapDecision a;
  a.treatment = Treatment::hold;
  a.rationale = rationale;
  a.actions.push_back({0, q.ready_c, GapAction::Kind::hold});
  return a;
}

// Neither standby nor off lets it be back in time: heat at once, and be as little late as physics
// allows.
GapDecision at_once(const GapContext& q, Rationale rationale, bool hot, bool no_line) {
  if (hot) {
    rationale.cause = no_line ? Cause::no_line : Cause::too_short;
    return hold(q, rationale);
  }
  thermal::HeaterState course = start_of(q);
  course.set_target(q.ready_c);
  for (const Need& need : q.needs) {
    rationale.late_s =
        std::max(rationale.late_s,
                 course.seconds_until_warm(std::min(need.temp_c, q.ready_c)) - need.after_s);
  }
  rationale.cause = Cause::heated_at_once;
  rationale.from_c = q.start_c;
  rationale.to_c = q.ready_c;
  rationale.lead_s = q.needs.front().after_s;
  rationale.heat_s = course.seconds_until_warm(q.ready_c);
  GapDecision a;
  a.treatment = Treatment::off;
  a.rationale = rationale;
  a.preheat_after_s = 0;
  a.actions.push_back({0, q.ready_c, GapAction::Kind::preheat});
  return a;
}

void name_bound(const GapContext& q, const Option& o, Rationale& rationale) {
  using Bound = Rationale::Bound;
  rationale.from_c = parked_at(q, o.floor_c, o.preheat_s);
  rationale.to_c = q.ready_c;
  rationale.lead_s = o.need->after_s - o.preheat_s;
  rationale.heat_s = drive_s(q, o.floor_c, o.preheat_s, q.ready_c);
  rationale.earlier_s = o.asked_s - o.preheat_s;
  constexpr double kWorthAWord = 1;
  if (o.power && std::abs(rationale.earlier_s) > kWorthAWord) {
    rationale.bound = Bound::power;
  } else if (rationale.earlier_s > kWorthAWord) {
    rationale.bound = Bound::line;
  } else {
    rationale.bound = o.need->exchange ? Bound::exchange : Bound::use;
  }
}

}  // namespace

double parked_at(const GapContext& q, double floor_c, double after_s) {
  if (starts_below(q, floor_c)) return parked_below(q, floor_c, after_s).temperature_c();
  const double free_c = thermal::cooled_c(q.hotend, q.start_c, after_s);
  return floor_c <= q.hotend.ambient_c ? free_c : std::max(free_c, floor_c);
}

double drive_s(const GapContext& q, double floor_c, double after_s, double to_c) {
  if (starts_below(q, floor_c)) {
    thermal::HeaterState course = parked_below(q, floor_c, after_s);
    course.set_target(to_c);
    return course.seconds_until_warm(to_c);
  }
  const double from_c = parked_at(q, floor_c, after_s);
  return held_at(q.hotend, floor_c, from_c) ? thermal::seconds_to_heat_held(q.hotend, from_c, to_c)
                                            : thermal::seconds_to_heat(q.hotend, from_c, to_c);
}

GapDecision decide_gap(const GapContext& q, const rules::GapSettings& gap,
                       const LeadTimeModel& margin, rules::Policy policy) {
  if (q.needs.empty()) {
    GapDecision a;
    a.actions.push_back({0, 0, GapAction::Kind::off});
    return a;
  }
  if (policy == rules::Policy::timers) return timers(q, gap);
  Rationale why;
  why.length_s = length_s(q);
  if (policy == rules::Policy::hold) {
    why.cause = Cause::policy_hold;
    return hold(q, why);
  }

  const thermal::Hotend& h = q.hotend;
  const double standby_c = parked_standby_c(q);
  // What the gap would come to if it were left to cool and driven back just in time.
  double dip_c = q.start_c;
  for (const Need& need : q.needs) {
    dip_c = std::min(dip_c, thermal::dip_of_gap(h, q.start_c, need.temp_c,
                                                std::min(standby_c, q.start_c), need.after_s)
                                .dip_c);
  }
  const bool hot = q.start_c >= q.ready_c - gap.hold_drop_c;
  why.drop_c = std::max(0.0, std::min(q.start_c, q.ready_c) - dip_c);
  if (hot && why.drop_c < gap.hold_drop_c && why.length_s <= q.max_hot_idle_s) {
    why.cause = Cause::small_dip;
    return hold(q, why);
  }

  const bool heated = q.start_target_c > h.ambient_c;
  const double warm_c = standby_c + kHotAboveStandbyC;
  why.hot_s = thermal::seconds_to_cool(h, q.start_c, warm_c) +
              thermal::seconds_to_heat(h, std::min(warm_c, q.ready_c), q.ready_c);
  Option standby;
  standby.floor_c = standby_c;
  // A heater that is colder and off is not driven up only to stand by.
  if (heated || q.start_c >= standby_c) standby = option_of(q, margin, standby_c);
  Option off;
  const bool too_hot = why.hot_s > q.max_hot_idle_s && q.start_c > warm_c;
  // Off may be ruled out without working out its preheat.
  if (gap.off_over_best || too_hot || why.length_s > gap.off_over_s || !standby.possible()) {
    off = option_of(q, margin, 0);
  }
  const Option* chosen = nullptr;
  if (off.possible() && too_hot) {
    chosen = &off;
    why.cause = Cause::over_hot_idle;
    why.limit_s = q.max_hot_idle_s;
  } else if (off.possible() && standby.possible() && gap.off_over_best) {
    why.cost_off = cost_of(q, gap, 0, off.preheat_s).cost;
    why.cost_standby = cost_of(q, gap, standby_c, standby.preheat_s).cost;
    chosen = why.cost_off < why.cost_standby ? &off : &standby;
    why.cause = chosen == &off ? Cause::cheaper_off : Cause::cheaper_standby;
  } else if (off.possible() && (!standby.possible() || why.length_s > gap.off_over_s)) {
    chosen = &off;
    why.limit_s = gap.off_over_s;
    why.cause =
        why.length_s > gap.off_over_s && !gap.off_over_best ? Cause::over_off : Cause::not_heated;
  } else if (standby.possible()) {
    chosen = &standby;
    why.limit_s = gap.off_over_s;
    why.cause = !gap.off_over_best && why.length_s <= gap.off_over_s ? Cause::within_off
                                                                     : Cause::no_time_for_off;
  }
  // Or not let go of at all. A short gap may take less to sit out, as full drive costs from its
  // dead time on; where it starts colder than it is wanted, left where it is and brought up from
  // there.
  Option stay;
  if (heated && q.start_target_c < q.ready_c && q.start_c >= q.start_target_c - thermal::kSameC) {
    stay = option_of(q, margin, q.start_target_c);
  }
  if (chosen == nullptr && !stay.possible()) {
    return at_once(q, why, hot, standby.in_time || off.in_time);
  }
  if ((gap.off_over_best || chosen == nullptr) && heated && why.length_s <= q.max_hot_idle_s) {
    why.cost_standby = chosen == nullptr ? std::numeric_limits<double>::infinity()
                                         : cost_of(q, gap, chosen->floor_c, chosen->preheat_s).cost;
    why.cost_hold = std::numeric_limits<double>::infinity();
    if (stay.possible()) {
      why.cost_hold = cost_of(q, gap, stay.floor_c, stay.preheat_s).cost;
    } else if (hot) {
      why.cost_hold = cost_of(q, gap, q.ready_c, why.length_s).cost;
    }
    if (why.cost_hold < why.cost_standby) {
      why.cause = chosen == nullptr ? Cause::too_short : Cause::cheaper_hold;
      if (!stay.possible()) return hold(q, why);
      chosen = &stay;
    }
  }
  if (chosen == nullptr) return at_once(q, why, hot, standby.in_time || off.in_time);
  name_bound(q, *chosen, why);
  GapDecision a;
  a.actions.reserve(2);
  a.rationale = why;
  if (chosen == &stay) {
    a.treatment = Treatment::hold;
  } else if (chosen == &standby) {
    a.treatment = Treatment::standby;
    a.actions.push_back({0, standby_c, GapAction::Kind::standby});
  } else if (heated) {
    a.actions.push_back({0, 0, GapAction::Kind::off});
  }
  a.preheat_after_s = chosen->preheat_s;
  a.actions.push_back({chosen->preheat_s, q.ready_c, GapAction::Kind::preheat});
  return a;
}

GapCost cost_of(const GapContext& q, const rules::GapSettings& gap, double floor_c,
                double preheat_s) {
  GapCost out;
  const double warm_c = parked_standby_c(q) + kHotAboveStandbyC;
  thermal::HeaterState course = start_of(q);
  course.set_target(floor_c);
  thermal::HeaterUsage spent = course.advance(std::max(0.0, preheat_s), warm_c);
  out.restart = course.target_c() <= 0;
  course.set_target(q.ready_c);
  spent.add(course.advance(std::max(0.0, q.needs.front().after_s - preheat_s), warm_c));
  out.hot_idle_s = spent.above_s;
  out.energy_j = spent.energy_j;
  out.cost = out.hot_idle_s / 3600 * gap.hot_idle_cost_per_h +
             out.energy_j / 3.6e6 * gap.energy_cost_per_kwh + (out.restart ? gap.restart_cost : 0);
  return out;
}

double break_even_s(const thermal::Hotend& hotend, double work_c, double standby_c,
                    const rules::GapSettings& gap) {
  GapContext q;
  q.hotend = hotend;
  q.start_c = q.start_target_c = q.ready_c = work_c;
  q.standby_c = standby_c;
  const auto off_is_cheaper = [&](double length_s) {
    q.needs = {{length_s, work_c}};
    const auto cost = [&](double floor_c) {
      return cost_of(q, gap, floor_c,
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

LeastGap least(const GapContext& q, double until_s) {
  LeastGap out;
  const double warm_c = parked_standby_c(q) + kHotAboveStandbyC;
  if (q.needs.empty()) {
    thermal::HeaterState course(q.hotend, q.start_c);
    out.hot_idle_s = course.advance(until_s, warm_c).above_s;
    return out;
  }
  const double floor_c = std::min({q.standby_c, q.ready_c, q.start_c});
  double preheat = 1e18;
  for (const Need& need : q.needs) {
    const thermal::Dip dip =
        thermal::dip_of_gap(q.hotend, q.start_c, need.temp_c, floor_c, need.after_s);
    preheat = std::min(preheat, dip.preheat_at_s);
    // A drive that is under way has its dead time behind it, or a part of it.
    thermal::HeaterState at_once = start_of(q);
    at_once.set_target(need.temp_c);
    const double late_s = at_once.seconds_until_warm(need.temp_c) - need.after_s;
    out.late_s = std::max(out.late_s, std::min(dip.late_s, late_s));
  }
  thermal::HeaterState course(q.hotend, q.start_c);
  course.set_target(q.start_target_c > q.hotend.ambient_c ? floor_c : 0);
  const double cool = std::min(preheat, until_s);
  out.hot_idle_s = course.advance(cool, warm_c).above_s;
  course.set_target(q.ready_c);
  out.hot_idle_s += course.advance(std::max(0.0, until_s - cool), warm_c).above_s;
  return out;
}

}  // namespace forewarm::plan
