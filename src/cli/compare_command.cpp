#include "cli/commands.h"
#include "cli/plans.h"
#include "io/progress.h"
#include "report/compare.h"

namespace forewarm::cli {

int run_compare(const Context& context, const CompareOptions& options) {
  auto sweeps = report::parse_sweeps(options.sweeps);
  if (!sweeps) return context.fail(sweeps.error());
  const Outputs outputs{
      .json = options.json,
      .csv = options.csv,
      .inputs = {{"the job", options.job}, {"the rule file", context.rule_file()}}};
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  auto input = open_job(options.job);
  if (!input) return context.fail(input.error());
  auto job = scan_job(context, input->job(), *rules, options.job);
  if (!job) return context.fail(job.error());

  io::Progress progress(2, context.progress_wanted(), "planning",
                        report::plans_needed(rules->gap, *sweeps), io::ProgressUnit::items);
  std::uint64_t planned = 0;
  const auto planner = [&](const rules::Rules& tried, rules::Policy policy) {
    auto plan = make_plan(*job, tried, policy);
    progress.update(++planned);
    return plan;
  };
  auto comparison = report::compare(options.job == "-" ? "standard input" : options.job, *job,
                                    *rules, *sweeps, planner);
  progress.finish();
  if (!comparison) return context.fail(comparison.error());

  return outputs.finish(context, {.text = report::text(*comparison),
                                  .json = report::json(*comparison),
                                  .csv = report::csv(*comparison)});
}

}  // namespace forewarm::cli
