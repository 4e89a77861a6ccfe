#include "plan/decide_gap.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "plan/gap_cost.h"
#include "plan/preheat_option.h"

namespace forewarm::plan {

namespace {

using Cause = Rationale::Cause;
using Deadline = GapContext::Deadline;
constexpr double kInfinity = std::numeric_limits<double>::infinity();

GapDecision by_timers(const GapContext& context, const rules::GapSettings& gap) {
  GapDecision d;
  d.treatment = Treatment::hold;
  d.rationale.cause = Cause::timer;
  d.rationale.length_s = length_s(context);
  if (d.rationale.length_s > gap.timer_standby_s) {
    d.treatment = Treatment::standby;
    d.rationale.limit_s = gap.timer_standby_s;
    d.actions.push_back({gap.timer_standby_s, context.standby_c, GapAction::Kind::timer_standby});
  }
  if (d.rationale.length_s > gap.timer_off_s) {
    d.treatment = Treatment::off;
    d.rationale.limit_s = gap.timer_off_s;
    d.actions.push_back({gap.timer_off_s, 0, GapAction::Kind::timer_off});
  }
  return d;
}

GapDecision hold(const GapContext& context, const Rationale& rationale) {
  GapDecision d;
  d.treatment = Treatment::hold;
  d.rationale = rationale;
  d.actions.push_back({0, context.ready_c, GapAction::Kind::hold});
  return d;
}

// As little late as physics allows.
GapDecision heat_at_once(const GapContext& context, Rationale rationale) {
  thermal::HeaterState heater = heater_at_start(context);
  heater.set_target(context.ready_c);
  for (const Deadline& deadline : context.deadlines) {
    rationale.late_s = std::max(
        rationale.late_s,
        heater.seconds_until_warm(std::min(deadline.temp_c, context.ready_c)) - deadline.after_s);
  }
  rationale.cause = Cause::heated_at_once;
  rationale.from_c = context.start_c;
  rationale.to_c = context.ready_c;
  rationale.lead_s = context.deadlines.front().after_s;
  rationale.heat_s = heater.seconds_until_warm(context.ready_c);
  GapDecision d;
  const bool stood_by = context.after_pause && context.start_target_c > context.hotend.ambient_c;
  d.treatment = stood_by ? Treatment::standby : Treatment::off;
  d.rationale = rationale;
  d.preheat_after_s = 0;
  d.actions.push_back({0, context.ready_c, GapAction::Kind::preheat});
  return d;
}

// Which bound keeps the preheat from standing later, with its numbers.
void add_preheat(const GapContext& context, const PreheatOption& option, Rationale& rationale) {
  using Bound = Rationale::Bound;
  rationale.from_c = parked_c(context, option.floor_c, option.preheat_s);
  rationale.to_c = context.ready_c;
  rationale.lead_s = option.deadline->after_s - option.preheat_s;
  rationale.heat_s = heating_s(context, option.floor_c, option.preheat_s, context.ready_c);
  rationale.earlier_s = option.asked_s - option.preheat_s;
  constexpr double kWorthAWordS = 1;
  if (option.for_power && std::abs(rationale.earlier_s) > kWorthAWordS) {
    rationale.bound = Bound::power;
  } else if (rationale.earlier_s > kWorthAWordS) {
    rationale.bound = Bound::line;
  } else {
    rationale.bound = option.deadline->exchange ? Bound::exchange : Bound::use;
  }
}

class LookAhead {
 public:
  LookAhead(const GapContext& context, const rules::GapSettings& gap,
            const LeadTimeModel& lead_time)
      : context_(context),
        gap_(gap),
        lead_time_(lead_time),
        standby_c_(standby_of(context)),
        hot_(context.start_c >= context.ready_c - gap.hold_drop_c),
        heated_(context.start_target_c > context.hotend.ambient_c) {
    rationale_.length_s = length_s(context);
    rationale_.after_pause = context.after_pause;
  }

  GapDecision decide() {
    find_stay();
    if (context_.warmth) return kept_warmer();
    if (hardly_cools()) {
      rationale_.cause = Cause::small_dip;
      // To hold it at more than it has would drive it at once.
      return context_.limited && stay_.possible() ? preheated(stay_) : held();
    }
    const PreheatOption* chosen = choose_floor();
    if (chosen == nullptr && !stay_.possible()) return no_option();
    if (staying_is_cheaper(chosen)) {
      rationale_.cause = chosen == nullptr ? Cause::too_short : Cause::cheaper_hold;
      if (!stay_.possible()) return held();
      chosen = &stay_;
    }
    if (chosen == nullptr) return no_option();
    return preheated(*chosen);
  }

 private:
  // As warm as the heating limit makes it wait.
  GapDecision kept_warmer() {
    rationale_.cause = Cause::warm_for_power;
    if (*context_.warmth == Warmth::standby) {
      standby_ = preheat_option(context_, lead_time_, standby_c_);
      return standby_.possible() ? preheated(standby_) : no_option();
    }
    const bool stays = hot_ && context_.start_c >= context_.ready_c - thermal::kRoundingC;
    return stay_.possible() && !stays ? preheated(stay_) : held();
  }

  // Whether it would dip little if it were left to cool and driven back just in time.
  bool hardly_cools() {
    double dip_c = context_.start_c;
    for (const Deadline& deadline : context_.deadlines) {
      dip_c = std::min(dip_c,
                       thermal::dip_of_gap(context_.hotend, context_.start_c, deadline.temp_c,
                                           std::min(standby_c_, context_.start_c), deadline.after_s)
                           .dip_c);
    }
    rationale_.drop_c = std::max(0.0, std::min(context_.start_c, context_.ready_c) - dip_c);
    return hot_ && rationale_.drop_c < gap_.hold_drop_c &&
           rationale_.length_s <= context_.max_hot_idle_s;
  }

  // Standby or off, with the cause; nullptr: from neither it would be back in time.
  const PreheatOption* choose_floor() {
    const double warm_c = standby_c_ + kHotAboveStandbyC;
    rationale_.hot_s = hot_at_standby_s(context_);
    const bool too_hot =
        standby_c_ > 0 && rationale_.hot_s > context_.max_hot_idle_s && context_.start_c > warm_c;
    const bool over_off = rationale_.length_s > gap_.off_over_s;
    standby_.floor_c = standby_c_;
    // With a heating limit, one that is below standby stays where it is.
    if (context_.limited && standby_c_ <= 0) standby_ = stay_;
    // A heater that is colder and off is not driven up only to stand by.
    if (standby_c_ > context_.hotend.ambient_c && standby_c_ >= context_.least_floor_c &&
        (heated_ || context_.start_c >= standby_c_)) {
      standby_ = preheat_option(context_, lead_time_, standby_c_);
    }
    // Off may be ruled out without working out its preheat.
    if (context_.least_floor_c <= 0 &&
        (gap_.off_over_best || too_hot || over_off || !standby_.possible())) {
      off_ = preheat_option(context_, lead_time_, 0);
    }
    if (off_.possible() && too_hot) {
      rationale_.cause = Cause::over_hot_idle;
      rationale_.limit_s = context_.max_hot_idle_s;
      return &off_;
    }
    if (off_.possible() && standby_.possible() && gap_.off_over_best) return choose_by_cost();
    rationale_.limit_s = off_.possible() || standby_.possible() ? gap_.off_over_s : 0;
    if (off_.possible() && (!standby_.possible() || over_off)) {
      rationale_.cause = over_off && !gap_.off_over_best ? Cause::over_off : Cause::not_heated;
      return &off_;
    }
    if (!standby_.possible()) return nullptr;
    rationale_.cause =
        !gap_.off_over_best && !over_off ? Cause::within_off : Cause::no_time_for_off;
    return &standby_;
  }

  const PreheatOption* choose_by_cost() {
    rationale_.cost_off = cost_of(context_, gap_, 0, off_.preheat_s).cost;
    rationale_.cost_standby = cost_of(context_, gap_, standby_.floor_c, standby_.preheat_s).cost;
    const bool off = rationale_.cost_off < rationale_.cost_standby;
    rationale_.cause = off ? Cause::cheaper_off : Cause::cheaper_standby;
    return off ? &off_ : &standby_;
  }

  // A heater that starts colder than it is wanted may also stay at its target, and come up from
  // there.
  void find_stay() {
    if (heated_ && context_.start_target_c < context_.ready_c &&
        context_.start_c >= context_.start_target_c - thermal::kRoundingC) {
      stay_ = preheat_option(context_, lead_time_, context_.start_target_c);
    }
  }

  // Whether not cooling at all costs less than what is chosen. It may in a short gap, as full drive
  // costs from its dead time on.
  bool staying_is_cheaper(const PreheatOption* chosen) {
    const bool asked = gap_.off_over_best || chosen == nullptr;
    if (!asked || !heated_ || rationale_.length_s > context_.max_hot_idle_s) return false;
    rationale_.cost_standby =
        chosen == nullptr ? kInfinity
                          : cost_of(context_, gap_, chosen->floor_c, chosen->preheat_s).cost;
    rationale_.cost_hold = kInfinity;
    if (stay_.possible()) {
      rationale_.cost_hold = cost_of(context_, gap_, stay_.floor_c, stay_.preheat_s).cost;
    } else if (hot_) {
      rationale_.cost_hold = cost_of(context_, gap_, context_.ready_c, rationale_.length_s).cost;
    }
    return rationale_.cost_hold < rationale_.cost_standby;
  }

  // From neither standby nor off would it be back in time.
  GapDecision no_option() {
    if (!hot_) return heat_at_once(context_, rationale_);
    rationale_.cause = standby_.in_time || off_.in_time ? Cause::no_line : Cause::too_short;
    return held();
  }

  GapDecision held() const {
    GapDecision d = hold(context_, rationale_);
    // Where it is driven for that, power has to be there.
    if (context_.limited && context_.start_c < context_.ready_c - thermal::kRoundingC) {
      d.preheat_after_s = 0;
      d.floor_c = heated_ ? std::min(context_.start_target_c, context_.start_c) : 0;
    }
    return d;
  }

  GapDecision preheated(const PreheatOption& chosen) {
    add_preheat(context_, chosen, rationale_);
    GapDecision d;
    d.rationale = rationale_;
    d.preheat_after_s = chosen.preheat_s;
    d.floor_c = chosen.floor_c;
    const GapAction preheat{chosen.preheat_s, context_.ready_c, GapAction::Kind::preheat};
    if (&chosen == &stay_ || (&chosen == &standby_ && standby_c_ <= 0)) {
      d.treatment = context_.after_pause && heated_ ? Treatment::standby : Treatment::hold;
      d.actions = {preheat};
    } else if (&chosen == &standby_) {
      d.treatment = Treatment::standby;
      d.actions = {{0, standby_c_, GapAction::Kind::standby}, preheat};
    } else if (heated_) {
      d.actions = {{0, 0, GapAction::Kind::off}, preheat};
    } else {
      d.actions = {preheat};
    }
    return d;
  }

  const GapContext& context_;
  const rules::GapSettings& gap_;
  const LeadTimeModel& lead_time_;
  double standby_c_;
  bool hot_, heated_;
  PreheatOption standby_, off_, stay_;
  Rationale rationale_;
};

}  // namespace

GapDecision decide_gap(const GapContext& context, const rules::GapSettings& gap,
                       const LeadTimeModel& lead_time, rules::Policy policy) {
  if (context.deadlines.empty()) {
    GapDecision d;
    d.actions.push_back({0, 0, GapAction::Kind::off});
    return d;
  }
  switch (policy) {
    case rules::Policy::timers:
      return by_timers(context, gap);
    case rules::Policy::hold: {
      Rationale rationale;
      rationale.length_s = length_s(context);
      rationale.cause = Cause::policy_hold;
      return hold(context, rationale);
    }
    case rules::Policy::as_sliced:
    case rules::Policy::lookahead:
      break;
  }
  return LookAhead(context, gap, lead_time).decide();
}

}  // namespace forewarm::plan
