#include "plan/decider.h"

#include <cmath>
#include <utility>

#include "plan/level_power.h"
#include "plan/preheat_tasks.h"

namespace forewarm::plan {

Decider::Decider(const Problem& problem)
    : problem_(problem),
      lead_time_(problem.rules.gap),
      decisions_(problem.gaps.size()),
      stale_(problem.gaps.size(), 1) {}

bool Decider::decide(const Basis& basis) {
  // Back to what each gap would do alone.
  for (ShiftedPreheat& s : shifted_) std::swap(decisions_[s.gap], s.other);
  bool changed = decide_stale(basis);
  if (problem_.rules.machine.heating_limit_w && problem_.policy == rules::Policy::lookahead) {
    changed |= shift_preheats(basis);
  }
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

// Whether any preheat is shifted otherwise than on the basis before.
bool Decider::shift_preheats(const Basis& basis) {
  constexpr double kSameMomentS = 1e-6;
  constexpr double kRoundingS = 1e-9;
  const rules::Machine& machine = problem_.rules.machine;
  const PreheatTasks preheats = preheat_tasks(problem_, basis, decisions_);
  const auto slots = level_power(preheats.tasks, other_loads(problem_, basis),
                                 *machine.heating_limit_w - machine.bed_w);
  std::vector<ShiftedPreheat> shifted;
  std::size_t unchanged = 0;
  auto before = shifted_.begin();
  for (std::size_t i = 0; i < slots.size(); ++i) {
    const PreheatTask& task = preheats.tasks[i];
    if (!slots[i].late && slots[i].at_s >= task.latest_s - kSameMomentS) continue;
    const std::size_t g = preheats.heaters[i].gap;
    const double preheat_at_s = slots[i].at_s - task.release_s;
    shifted.push_back({g, preheat_at_s, std::move(decisions_[g])});
    while (before != shifted_.end() && before->gap < g) ++before;
    if (stale_[g] == 0 && before != shifted_.end() && before->gap == g &&
        std::abs(before->preheat_at_s - preheat_at_s) < kRoundingS) {
      decisions_[g] = std::move(before->other);
      ++unchanged;
      continue;
    }
    basis.context(g, context_);
    context_.preheat_at_s = preheat_at_s;
    decisions_[g] = decide_gap(context_, problem_.rules.gap, lead_time_, problem_.policy);
  }
  const bool changed = unchanged != shifted.size() || unchanged != shifted_.size();
  shifted_ = std::move(shifted);
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
