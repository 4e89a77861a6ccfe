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

using SharedBasis = std::shared_ptr<const Basis>;

// Before the first simulation: no waits, and heaters where their last targets say.
Simulation without_waits(const Problem& problem) {
  Simulation out;
  out.gaps.resize(problem.gaps.size());
  for (std::size_t g = 0; g < out.gaps.size(); ++g) {
    const Transition& t = problem.gap(g);
    GapOutcome& o = out.gaps[g];
    o.from_s = t.from.time_s;
    o.start_c = problem.job.heads[t.head].hotend.ambient_c;
    if (t.before && problem.job.uses[*t.before].last_c) {
      o.start_c = std::max(o.start_c, *problem.job.uses[*t.before].last_c);
      o.start_target_c = o.start_c;
    }
  }
  return out;
}

bool agree(const Basis& a, const Basis& b) {
  const auto& gaps_a = a.simulation().gaps;
  const auto& gaps_b = b.simulation().gaps;
  return b.simulation().waits.near(a.simulation().waits, kAgreeS) &&
         std::equal(gaps_a.begin(), gaps_a.end(), gaps_b.begin(),
                    [](const GapOutcome& x, const GapOutcome& y) {
                      return std::abs(y.start_c - x.start_c) <= kAgreeC;
                    });
}

// Now and then two timelines lead to each other, where some preheats must be late for the heating
// limit. Then the round that keeps the limit best is taken, and of those the one that waits least.
struct Round {
  std::pair<double, double> cost;  // seconds over the limit; waits
  SharedBasis basis;
  std::vector<GapDecision> decisions;
};

std::pair<double, double> cost_of(const Problem& problem, const Simulation& simulation) {
  const rules::Machine& machine = problem.rules.machine;
  const double over_s =
      machine.heating_limit_w
          ? over_limit_s(simulation.drives, problem.job, *machine.heating_limit_w - machine.bed_w)
          : 0;
  return {std::round(over_s), simulation.waits.total()};
}

class Rounds {
 public:
  explicit Rounds(const Problem& problem) : problem_(problem) {}

  Solution run() {
    Decider decider(problem_);
    auto basis = std::make_shared<const Basis>(problem_, without_waits(problem_));
    std::optional<Round> best;
    for (int round = 1;; ++round) {
      // Decisions as in the round before would come to the same.
      if (!decider.decide(*basis)) return solution(decider.decisions(), basis, basis);
      SharedBasis next = result_of(*basis, decider.decisions());
      if (round > 1 && agree(*basis, *next)) {
        return solution(decider.decisions(), std::move(basis), std::move(next));
      }
      if (round >= kMaxRounds / 2) {
        const auto cost = cost_of(problem_, next->simulation());
        if (!best || cost < best->cost) best = Round{cost, basis, decider.decisions()};
      }
      if (round == kMaxRounds) {
        next = result_of(*best->basis, best->decisions);
        return solution(std::move(best->decisions), std::move(best->basis), std::move(next));
      }
      decider.mark_stale(*basis, *next);
      basis = std::move(next);
    }
  }

 private:
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
