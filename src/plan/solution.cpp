#include "plan/solution.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "plan/decider.h"
#include "plan/drafts.h"
#include "plan/events.h"
#include "plan/simulate.h"

namespace forewarm::plan {

namespace {

constexpr int kMaxRounds = 12;
// Two rounds agree whose waits and start temperatures differ by no more than this.
constexpr double kAgreeS = 0.02;
constexpr double kAgreeC = 0.05;
// ... and which make up for what oozed alike.
constexpr double kAgreeMm = 0.015;

using SharedBasis = std::shared_ptr<const Basis>;

// Before the first simulation: no waits, and heaters where their last targets say.
Simulation without_waits(const Problem& problem) {
  Simulation out;
  out.gaps.resize(problem.gaps.size());
  for (std::size_t g = 0; g < out.gaps.size(); ++g) {
    const Transition& t = problem.gap(g);
    GapOutcome& o = out.gaps[g];
    o.from_s = t.from.time_s;
    o.parked_from_s = t.pause ? t.parked_for_pause.time_s : o.from_s;
    o.start_c = problem.job.heads[t.head].hotend.ambient_c;
    if (t.before && problem.job.uses[*t.before].last_c) {
      o.start_c = std::max(o.start_c, *problem.job.uses[*t.before].last_c);
      o.start_target_c = o.start_c;
    }
    if (t.pause && t.waits_at_pause_c) {
      o.start_target_c = *t.waits_at_pause_c;
      o.start_c = std::max(problem.job.heads[t.head].hotend.ambient_c, o.start_target_c);
    }
  }
  return out;
}

bool agree(const Basis& a, const Basis& b) {
  const auto& gaps_a = a.simulation().gaps;
  const auto& gaps_b = b.simulation().gaps;
  return b.simulation().waits.near(a.simulation().waits, kAgreeS) && b.makes_up_as(a, kAgreeMm) &&
         std::equal(gaps_a.begin(), gaps_a.end(), gaps_b.begin(),
                    [](const GapOutcome& x, const GapOutcome& y) {
                      return std::abs(y.start_c - x.start_c) <= kAgreeC;
                    });
}

// Now and then two timelines lead to each other, where some preheats must be late for the heating
// limit. Then the best round is taken: the one that keeps the limit best, and of those the one that
// waits least.
struct Round {
  std::pair<double, double> cost;  // seconds over the limit; waits
  SharedBasis basis;
  std::vector<GapDecision> decisions;
};

std::pair<double, double> cost_of(const Problem& problem, const Simulation& simulation) {
  constexpr double kNoMatterS = 0.5;  // of seconds over the limit
  if (!problem.limited()) return {0, simulation.waits.total()};
  const double over_s = over_limit(simulation.drives, problem.job, problem.limit_w(),
                                   simulation.waits.wall(*problem.job.start))
                            .of_plan_s;
  return {over_s > kNoMatterS ? over_s : 0, simulation.waits.total()};
}

class Rounds {
 public:
  explicit Rounds(const Problem& problem) : problem_(problem) {}

  Solution run() {
    Decider decider(problem_);
    auto basis = std::make_shared<const Basis>(problem_, without_waits(problem_));
    bool same_steps = true;  // as on the basis before
    for (int round = 1;; ++round) {
      // Decisions as in the round before would come to the same.
      const bool changed = decider.decide(*basis) || !same_steps;
      SharedBasis next = changed ? result_of(*basis, decider.decisions()) : basis;
      const bool settled = !changed || (round > 1 && agree(*basis, *next));
      // The first basis knows no heater's temperature yet.
      if (round > 1 && (problem_.limited() || round >= kMaxRounds / 2)) {
        keep_best(basis, *next, decider.decisions(), settled);
      }
      if (settled && (!problem_.limited() || !best_ || best_->basis == basis)) {
        return solution(decider.decisions(), std::move(basis), std::move(next));
      }
      if (settled || round == kMaxRounds) {
        next = result_of(*best_->basis, best_->decisions);
        settle_make_ups(next);
        return solution(std::move(best_->decisions), std::move(best_->basis), std::move(next));
      }
      decider.mark_stale(*basis, *next);
      same_steps = next->makes_up_as(*basis, 0);
      basis = std::move(next);
    }
  }

 private:
  // Of two that are as good, the one that is settled.
  void keep_best(const SharedBasis& basis, const Basis& result,
                 const std::vector<GapDecision>& decisions, bool settled) {
    const auto cost = cost_of(problem_, result.simulation());
    constexpr double kSameS = 0.02;
    if (best_) {
      const bool as_good =
          cost.first <= best_->cost.first &&
          (cost.first < best_->cost.first || cost.second <= best_->cost.second + kSameS);
      const bool better = cost < best_->cost;
      if (settled ? !as_good : !better) return;
    }
    best_ = Round{cost, basis, decisions};
  }

  // The best round may not be a settled one. What oozes is made up for by the timeline that comes
  // of it all the same.
  void settle_make_ups(SharedBasis& result) {
    for (int i = 0; i < kMaxRounds && !result->makes_up_as(*best_->basis, kAgreeMm); ++i) {
      best_->basis = std::make_shared<const Basis>(*best_->basis, *result);
      result = result_of(*best_->basis, best_->decisions);
    }
  }

  SharedBasis result_of(const Basis& basis, std::span<const GapDecision> decisions) {
    commands_ = draft_commands(problem_, basis, decisions, std::move(commands_));
    events_of(problem_, commands_, timeline_);
    return std::make_shared<const Basis>(problem_,
                                         simulate(problem_.job, timeline_, problem_.gaps.size()));
  }

  Solution solution(std::vector<GapDecision> decisions, SharedBasis basis, SharedBasis result) {
    return {Decided{std::move(decisions), std::move(commands_), std::move(basis)},
            std::move(result)};
  }

  const Problem& problem_;
  std::optional<Round> best_;
  // Of the last round; their memory is used in the next.
  std::vector<CommandDraft> commands_;
  Timeline timeline_;
};

}  // namespace

Solution solve(const Problem& problem) {
  if (problem.policy != rules::Policy::as_sliced) return Rounds(problem).run();
  Timeline timeline;
  events_of(problem, std::span<const CommandDraft>{}, timeline);
  return {std::nullopt, std::make_shared<const Basis>(
                            problem, simulate(problem.job, timeline, problem.gaps.size()))};
}

}  // namespace forewarm::plan
