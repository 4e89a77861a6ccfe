// What there is to be decided for a job's heaters: everything that its text and the rules say,
// before any decision and any simulation.
//
// Heating is planned one way, through values that nothing changes afterwards:
//   pose(job, rules, policy) -> Problem     what is to be decided (here)
//   solve(problem) -> Solution              decisions, commands, what they come to (solution.h)
//   to_plan(problem, solution) -> Plan      figures and words (to_plan.h)
//
// A Problem refers to its job and its rules, which must outlive it.
#pragma once

#include <optional>
#include <vector>

#include "base/error.h"
#include "job/job.h"
#include "plan/sequences.h"
#include "plan/transitions.h"
#include "rules/rules.h"

namespace forewarm::plan {

// The lines between which a gap's commands can stand: [first, end) of lines().
struct InsertionWindow {
  std::size_t first = 0, end = 0;
};

struct Problem {
  const job::Job& job;
  const rules::Rules& rules;
  rules::Policy policy;
  std::vector<Transition> transitions;
  std::vector<std::size_t> gaps;         // of transitions, those that are parked
  std::vector<InsertionWindow> windows;  // as gaps
  std::vector<Steps> sequences;          // as transitions refer to them
  std::vector<std::size_t> disabled;     // of job.targets, ascending; none as sliced
  std::vector<MakeUp> make_ups = {};     // of sequences

  // The job's index, with the places where gaps begin and are waited for; only where limited().
  std::optional<job::Index> more_lines = {};

  // Whether preheats are scheduled under a heating limit.
  [[nodiscard]] bool limited() const {
    return rules.machine.heating_limit_w && policy == rules::Policy::lookahead;
  }
  // Watts that heaters may draw together. REQUIRES: there is a limit.
  [[nodiscard]] double limit_w() const {
    return *rules.machine.heating_limit_w - rules.machine.bed_w;
  }
  // Before which lines a command can stand.
  [[nodiscard]] const job::Index& lines() const { return more_lines ? *more_lines : job.index; }
  [[nodiscard]] const Transition& gap(std::size_t g) const { return transitions[gaps[g]]; }
};

// REQUIRES: job.worth_planning(). Kind `refused` if the job cannot be planned safely: see
// transitions.h and sequences.h.
[[nodiscard]] Result<Problem> pose(const job::Job& job, const rules::Rules& rules,
                                   rules::Policy policy);

}  // namespace forewarm::plan
