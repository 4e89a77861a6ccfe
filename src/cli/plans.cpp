#include "cli/plans.h"

#include "cli/inputs.h"
#include "cli/spools.h"
#include "plan/trace.h"
#include "report/job_events.h"
#include "report/picture.h"
#include "report/report.h"
#include "report/spools.h"

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

namespace {

Result<report::Picture> picture_of(const report::Summary& summary) {
  const auto planned = plan::trace(summary.job, summary.rules, summary.lookahead);
  if (!planned) return planned.error();
  const auto as_sliced = plan::trace(summary.job, summary.rules, summary.as_sliced);
  if (!as_sliced) return as_sliced.error();
  return report::picture_of(summary, *planned, *as_sliced);
}

}  // namespace

Result<Reports> make_reports(const std::string& path, const Scanned& scanned, const Shown& shown) {
  const job::Job& job = scanned.job;
  const rules::Rules& rules = scanned.rules;
  auto as_sliced = make_plan(job, rules, rules::Policy::as_sliced);
  if (!as_sliced) return std::move(as_sliced.error());
  auto timers = make_plan(job, rules, rules::Policy::timers);
  if (!timers) return std::move(timers.error());
  auto hold = make_plan(job, rules, rules::Policy::hold);
  if (!hold) return std::move(hold.error());
  auto lookahead = make_plan(job, rules, rules::Policy::lookahead);
  if (!lookahead) return std::move(lookahead.error());
  const auto ends = spool_ends(scanned.text, job, *lookahead, rules, scanned.mapping);
  if (!ends) return ends.error();
  report::Summary summary{shown_name(path), job,   rules,      *as_sliced,
                          *timers,          *hold, *lookahead, shown.schedule,
                          shown.width,      *ends};
  summary.version = shown.version;
  summary.checked = shown.checked;
  if (shown.schedule) {
    summary.finish = report::finishing_of(job, *lookahead, rules, *shown.schedule);
  }
  summary.colour = shown.colour;
  std::optional<report::Picture> picture;
  if (shown.page || (shown.timeline && !shown.sheet)) {
    auto made = picture_of(summary);
    if (!made) return made.error();
    picture = std::move(*made);
  }
  return Reports{shown.sheet ? report::sheet_text(summary)
                             : report::text(summary, shown.timeline ? &*picture : nullptr),
                 report::json(summary),
                 shown.page ? report::html(summary, *picture) : std::string(),
                 report::changes_csv(summary),
                 shown.schedule ? report::calendar_of(summary, shown.earlier_ics) : std::string()};
}

}  // namespace forewarm::cli
