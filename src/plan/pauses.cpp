#include "plan/pauses.h"

#include <algorithm>

#include "plan/decide_gap.h"
#include "plan/preheat_option.h"

namespace forewarm::plan {

namespace {

using AtPause = rules::GapSettings::AtPause;

// The gap as if there were no pause, or what is left of it behind the pause.
GapContext context_of(const job::Job& job, const Transition& t, double from_s, double start_c) {
  GapContext context;
  context.hotend = job.heads[t.head].hotend;
  context.start_c = std::max(context.hotend.ambient_c, start_c);
  context.start_target_c = start_c;
  context.standby_c = t.standby_c;
  context.max_hot_idle_s = t.max_hot_idle_s;
  context.ready_c = t.approach_c;
  context.parked_s = std::max(0.0, t.to.time_s - from_s);
  context.deadlines.push_back({*context.parked_s, t.approach_c, t.exchange});
  return context;
}

// What its heater is set to when it is put away, at the most; 0: nothing, or off.
double target_before_c(const job::Job& job, const Transition& t) {
  if (t.before) {
    const job::ToolUse& use = job.uses[*t.before];
    const double used_c = std::max({use.last_c.value_or(0), use.work_c.value_or(0), use.hot_c});
    // An exchange may have been hotter than what came in is known to be.
    return use.kind == job::ToolUse::Kind::exchanged ? std::max(used_c, job.heads[t.head].max_c)
                                                     : used_c;
  }
  double target_c = 0;
  for (const job::Target& target : job.targets) {
    if (target.at.offset >= t.from.offset) break;
    if (target.head == t.head && target.has_temp) target_c = target.temp_c;
  }
  return target_c;
}

// Off where the gap as a whole asks for that, if it can be hot again from off behind the pause.
double waits_at_c(const job::Job& job, const rules::Rules& rules, const LeadTimeModel& lead_time,
                  const Transition& t, double before_c) {
  const GapContext whole = context_of(job, t, t.from.time_s, before_c);
  const double standby_c = standby_of(whole);
  if (rules.gap.at_pause == AtPause::off || standby_c <= whole.hotend.ambient_c) return 0;
  // With a heating limit no heater is driven up only to stand by. What start code has heated may
  // still be on its way.
  if (rules.machine.heating_limit_w && !t.before) return 0;
  const GapDecision decision = decide_gap(whole, rules.gap, lead_time, rules::Policy::lookahead);
  if (decision.treatment != Treatment::off) return standby_c;
  if (decision.rationale.cause == Rationale::Cause::over_hot_idle) return 0;
  const GapContext rest = context_of(job, t, job.pauses[*t.pause].at.time_s, 0);
  return preheat_option(rest, lead_time, 0).possible() ? 0 : standby_c;
}

}  // namespace

bool splits_at_pauses(const job::Job& job, const rules::Rules& rules, rules::Policy policy) {
  return policy == rules::Policy::lookahead && rules.gap.at_pause != AtPause::as_planned &&
         !job.pauses.empty();
}

std::optional<std::size_t> last_pause(const job::Job& job, const Transition& t) {
  auto p = std::lower_bound(job.pauses.begin(), job.pauses.end(), t.to.offset,
                            [](const job::Pause& x, std::uint64_t o) { return x.at.offset < o; });
  // It may be mounted meanwhile, without a use.
  while (p != job.pauses.begin() && (p - 1)->at.offset >= t.from.offset) {
    --p;
    if (p->head != t.head) return std::size_t(p - job.pauses.begin());
  }
  return std::nullopt;
}

void split_at_pause(const job::Job& job, const rules::Rules& rules, const LeadTimeModel& lead_time,
                    Transition& t) {
  const job::Pause& pause = job.pauses[*t.pause];
  const bool waited_before =
      std::any_of(t.deadlines.begin(), t.deadlines.end(), [&](const HeatDeadline& d) {
        return d.at.offset < pause.end_offset && d.at.offset < t.to.offset;
      });
  if (waited_before || t.from.offset > pause.at.offset) {
    t.pause.reset();
    return;
  }
  double before_c = target_before_c(job, t);
  for (const std::size_t c : t.cool_downs) {
    const job::Target& target = job.targets[c];
    if (t.put_away && target.at.offset >= t.put_away->offset) before_c = target.temp_c;
  }
  const double waits_c = waits_at_c(job, rules, lead_time, t, before_c);
  if (before_c > waits_c) t.waits_at_pause_c = waits_c;
  t.parked_for_pause = t.from;
  if (!t.put_away) t.put_away = t.from;
  t.from = {pause.end_offset, pause.at.time_s};
}

thermal::HeaterState after_pause(const thermal::Hotend& hotend,
                                 const thermal::HeaterState& before) {
  const double held_c = std::max(hotend.ambient_c, before.target_c());
  if (before.temperature_c() <= held_c) return before;
  thermal::HeaterState after(hotend, held_c);
  after.set_target(before.target_c());
  return after;
}

}  // namespace forewarm::plan
