#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/plans.h"
#include "io/progress.h"
#include "report/compare.h"

namespace forewarm::cli {

int run_compare(const Context& context, const CompareOptions& options) {
  auto sweeps = report::parse_sweeps(options.sweeps);
  if (!sweeps) return context.fail(sweeps.error());
  Outputs outputs(context,
                  {.json = options.json,
                   .csv = options.csv,
                   .inputs = {{"the job", options.job}, {"the rule file", context.rule_file()}}});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  auto loaded = load_job(context, options.job, *rules);
  if (!loaded) return context.fail(loaded.error());
  const job::Job& job = loaded->job;
  note_hints(context, job);

  io::Progress progress(2, context.progress_wanted(), "planning",
                        report::plans_needed(rules->gap, *sweeps), io::ProgressUnit::items);
  std::uint64_t planned = 0;
  const auto planner = [&](const rules::Rules& tried, rules::Policy policy) {
    auto plan = make_plan(job, tried, policy);
    progress.update(++planned);
    return plan;
  };
  auto comparison = report::compare(shown_name(options.job), job, *rules, *sweeps, planner);
  progress.finish();
  if (!comparison) return context.fail(comparison.error());

  return outputs.finish({.text = report::text(*comparison, context.text_width()),
                         .json = report::json(*comparison),
                         .csv = report::csv(*comparison)});
}

}  // namespace forewarm::cli
