#include "plan/plan.h"

#include <utility>

#include "plan/problem.h"
#include "plan/solution.h"
#include "plan/to_plan.h"

namespace forewarm::plan {

Result<Plan> make(const job::Job& job, const rules::Rules& rules, rules::Policy policy) {
  if (!job.worth_planning()) return without_planning(job, rules, policy);
  const auto problem = pose(job, rules, policy);
  if (!problem) return problem.error();
  return to_plan(*problem, solve(*problem));
}

}  // namespace forewarm::plan
