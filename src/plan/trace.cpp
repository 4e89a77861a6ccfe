#include "plan/trace.h"

#include <utility>

#include "plan/events.h"
#include "plan/problem.h"
#include "plan/simulate.h"

namespace forewarm::plan {

Result<Trace> trace(const job::Job& job, const rules::Rules& rules, const Plan& plan) {
  Timeline timeline;
  Trace out;
  if (!job.worth_planning()) {
    own_events_of(job, rules.dialect, timeline);
    out.drives = simulate(job, timeline, 0, &out).drives;
    return out;
  }
  const auto problem = pose(job, rules, plan.policy);
  if (!problem) return problem.error();
  events_of(*problem, plan, timeline);
  out.drives = simulate(job, timeline, problem->gaps.size(), &out).drives;
  return out;
}

}  // namespace forewarm::plan
