#include "plan/decider.h"

#include <cmath>
#include <utility>

#include "plan/power_schedule.h"
#include "plan/preheat_tasks.h"

namespace forewarm::plan {

Decider::Decider(const Problem& problem)
    : problem_(problem),
      lead_time_(problem.rules.gap),
      decisions_(problem.gaps.size()),
      stale_(problem.gaps.size(), 1) {}

bool Decider::decide(const Basis& basis) {
  // Back to what each gap would do alone.
  for (ScheduledGap& s : scheduled_) std::swap(decisions_[s.gap], s.other);
  bool changed = decide_stale(basis);
  if (problem_.limited()) changed |= schedule(basis);
  return !std::exchange(decided_, true) || changed;
}

bool Decider::decide_stale(const Basis& basis) {
  bool changed = false;
  for (std::size_t g = 0; g < decisions_.size(); ++g) {
    if (stale_[g] == 0) continue;
    basis.context(g, context_);
    decisions_[g] = decide_gap(context_, problem_.rules.gap, lead_time_, problem_.policy);
    changed = true;
  }
  return changed;
}

// Whether any gap is scheduled otherwise than on the basis before.
bool Decider::schedule(const Basis& basis) {
  constexpr double kSameMomentS = 1e-6;
  constexpr double kRoundingS = 1e-9;
  const PreheatTasks preheats = preheat_tasks(problem_, basis, lead_time_, decisions_);
  const PowerSchedule schedule =
      schedule_power(preheats.tasks, other_loads(problem_, basis, preheats), problem_.limit_w());
  std::vector<ScheduledGap> scheduled;
  std::size_t unchanged = 0;
  auto before = scheduled_.begin();
  for (std::size_t i = 0; i < schedule.slots.size(); ++i) {
    const PreheatSlot& slot = schedule.slots[i];
    const PreheatTask& task = preheats.tasks[i];
    const bool as_alone =
        !slot.late && slot.level == 0 && slot.at_s >= task.parked->latest_s(0) - kSameMomentS;
    if (as_alone) continue;
    const std::size_t g = preheats.heaters[i].gap();
    const double preheat_at_s = slot.at_s - task.release_s;
    const auto warmth = preheats.heaters[i].warmth(slot.level);
    scheduled.push_back({g, preheat_at_s, warmth, std::move(decisions_[g])});
    while (before != scheduled_.end() && before->gap < g) ++before;
    if (stale_[g] == 0 && before != scheduled_.end() && before->gap == g &&
        before->warmth == warmth && std::abs(before->preheat_at_s - preheat_at_s) < kRoundingS) {
      decisions_[g] = std::move(before->other);
      ++unchanged;
      continue;
    }
    basis.context(g, context_);
    context_.preheat_at_s = preheat_at_s;
    context_.warmth = warmth;
    context_.least_floor_c = scheduled.back().other.floor_c;
    decisions_[g] = decide_gap(context_, problem_.rules.gap, lead_time_, problem_.policy);
  }
  const bool changed = unchanged != scheduled.size() || unchanged != scheduled_.size();
  scheduled_ = std::move(scheduled);
  return changed;
}

// A gap is decided anew if it starts otherwise, or if what is waited for within it differs.
void Decider::mark_stale(const Basis& basis, const Basis& next) {
  const CumulativeDelay::Changes changed =
      next.simulation().waits.changes_from(basis.simulation().waits);
  for (std::size_t g = 0; g < stale_.size(); ++g) {
    const Transition& t = problem_.gap(g);
    const GapOutcome& was = basis.gap(g);
    const GapOutcome& is = next.gap(g);
    const std::uint64_t last = t.deadlines.empty() ? t.from.offset : t.deadlines.back().at.offset;
    stale_[g] = is.start_c != was.start_c || is.start_target_c != was.start_target_c ||
                changed.within(t.from.offset, last);
  }
}

}  // namespace forewarm::plan
