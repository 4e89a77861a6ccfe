#include "cli/plans.h"

#include <filesystem>
#include <thread>

#include "io/progress.h"
#include "io/replace.h"
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

Status not_the_job(const std::string& report, const std::string& job) {
  std::error_code none;
  if (report.empty() || report == "-" || !std::filesystem::equivalent(report, job, none)) {
    return success();
  }
  return Error{Error::Kind::usage, "the report would overwrite the job", report};
}

Status write_report(const std::string& file, const std::string& text, io::FdSink& standard_output) {
  if (file == "-") return standard_output.write(text);
  auto replacement = io::Replacement::create(file);
  if (!replacement) return std::move(replacement.error());
  if (auto s = (*replacement)->sink().write(text); !s) return s;
  return (*replacement)->commit();
}

}  // namespace forewarm::cli
