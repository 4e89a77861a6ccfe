#include "plan/problem.h"

#include <algorithm>
#include <utility>

#include "plan/echoes.h"

namespace forewarm::plan {

namespace {

// Transitions follow each other in the text as a rule, so each search begins where the last ended.
std::vector<InsertionWindow> windows_of(const Problem& problem) {
  const job::Index& lines = problem.lines();
  std::vector<InsertionWindow> windows(problem.gaps.size());
  std::size_t near = 0;
  for (std::size_t g = 0; g < windows.size(); ++g) {
    const Transition& t = problem.gap(g);
    InsertionWindow& w = windows[g];
    near = lines.count_to(t.from.offset, near);
    w.first = near > 0 ? near - 1 : 0;
    w.end = lines.size();
    if (t.deadlines.empty()) continue;
    near = lines.count_to(t.deadlines.front().at.offset, near);
    w.end = std::min(w.end, near + 1);
  }
  return windows;
}

// Who competes for power may have to begin right after another is waited for.
job::Index more_lines(const job::Job& job, const std::vector<Transition>& transitions) {
  std::vector<job::Place> more;
  for (const Transition& t : transitions) {
    if (t.parked) more.push_back(t.from);
    for (const HeatDeadline& d : t.deadlines) more.push_back(d.at);
  }
  return job.index.with(std::move(more));
}

std::vector<std::size_t> disabled_of(const std::vector<Transition>& transitions) {
  std::vector<std::size_t> disabled;
  for (const Transition& t : transitions) {
    disabled.insert(disabled.end(), t.disabled.begin(), t.disabled.end());
  }
  std::sort(disabled.begin(), disabled.end());
  return disabled;
}

}  // namespace

Result<Problem> pose(const job::Job& job, const rules::Rules& rules, rules::Policy policy) {
  if (auto echo = check_echo(rules.dialect); !echo) return std::move(echo.error());
  auto transitions = lay_out(job, rules, policy);
  if (!transitions) return std::move(transitions.error());
  Problem problem{job, rules, policy, std::move(*transitions), {}, {}, {}, {}, {}, {}};
  const bool as_sliced = policy == rules::Policy::as_sliced;
  if (rules.uses_steps && !as_sliced) {
    auto sequences = place_sequences(job, rules, problem.transitions);
    if (!sequences) return std::move(sequences.error());
    problem.sequences = std::move(sequences->steps);
    problem.make_ups = std::move(sequences->make_ups);
  }
  for (std::size_t t = 0; t < problem.transitions.size(); ++t) {
    if (problem.transitions[t].parked) problem.gaps.push_back(t);
  }
  if (problem.limited()) problem.more_lines = more_lines(job, problem.transitions);
  problem.windows = windows_of(problem);
  if (!as_sliced) problem.disabled = disabled_of(problem.transitions);
  return problem;
}

}  // namespace forewarm::plan
