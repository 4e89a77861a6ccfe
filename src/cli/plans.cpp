#include "cli/plans.h"

#include <thread>

#include "io/progress.h"
#include "job/scan.h"
#include "report/report.h"

namespace forewarm::cli {

Result<job::Job> scan_job(const Context& context, ByteSource& source, const rules::Rules& rules,
                          const std::string& name) {
  io::Progress progress(2, context.progress_wanted(), "reading", source.size());
  job::ScanOptions options;
  options.name = name == "-" ? "standard input" : name;
  options.threads = std::thread::hardware_concurrency();  // what it may run on, not what there is
  options.progress = [&](std::uint64_t done) { progress.update(done); };
  auto job = job::scan(source, rules, options);
  progress.finish();
  if (job) {
    const std::string breaks_off = job->ending.warning();
    if (!breaks_off.empty()) context.warn(printable(options.name) + ": " + breaks_off);
  }
  return job;
}

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
                             const rules::Rules& rules,
                             const std::optional<report::Schedule>& schedule) {
  auto as_sliced = make_plan(job, rules, rules::Policy::as_sliced);
  if (!as_sliced) return std::move(as_sliced.error());
  auto timers = make_plan(job, rules, rules::Policy::timers);
  if (!timers) return std::move(timers.error());
  auto hold = make_plan(job, rules, rules::Policy::hold);
  if (!hold) return std::move(hold.error());
  auto lookahead = make_plan(job, rules, rules::Policy::lookahead);
  if (!lookahead) return std::move(lookahead.error());
  const report::Summary summary{path == "-" ? "standard input" : path,
                                job,
                                rules,
                                *as_sliced,
                                *timers,
                                *hold,
                                *lookahead,
                                schedule};
  return Reports{report::text(summary), report::json(summary), report::html(summary),
                 report::changes_csv(summary)};
}

}  // namespace forewarm::cli
