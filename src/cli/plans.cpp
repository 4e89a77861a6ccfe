#include "cli/plans.h"

#include "cli/inputs.h"
#include "report/report.h"

namespace forewarm::cli {

Result<plan::Plan> make_plan(const job::Job& job, const rules::Rules& rules, rules::Policy policy) {
  auto plan = plan::make(job, rules, policy);
  if (!plan) return plan;
  if (const std::string broken = plan::broken_invariant(job, *plan); !broken.empty()) {
    return Error{Error::Kind::internal, "a bug in forewarm, nothing was written: " + broken,
                 job.name};
  }
  return plan;
}

Result<Reports> make_reports(const std::string& path, const job::Job& job,
                             const rules::Rules& rules, std::size_t width,
                             const std::optional<report::Schedule>& schedule) {
  auto as_sliced = make_plan(job, rules, rules::Policy::as_sliced);
  if (!as_sliced) return std::move(as_sliced.error());
  auto timers = make_plan(job, rules, rules::Policy::timers);
  if (!timers) return std::move(timers.error());
  auto hold = make_plan(job, rules, rules::Policy::hold);
  if (!hold) return std::move(hold.error());
  auto lookahead = make_plan(job, rules, rules::Policy::lookahead);
  if (!lookahead) return std::move(lookahead.error());
  const report::Summary summary{shown_name(path), job,      rules, *as_sliced, *timers, *hold,
                                *lookahead,       schedule, width};
  return Reports{report::text(summary), report::json(summary), report::html(summary),
                 report::changes_csv(summary)};
}

}  // namespace forewarm::cli
