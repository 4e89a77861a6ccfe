#include "cli/commands.h"
#include "cli/plans.h"
#include "io/progress.h"
#include "report/compare.h"

namespace forewarm::cli {

int run_compare(const Context& context, const CompareOptions& options) {
  if (options.json == "-" && options.csv == "-") {
    return context.fail({Error::Kind::usage, "only one result can go to standard output"});
  }
  for (const std::string& report : {options.json, options.csv}) {
    if (auto s = not_the_job(report, options.job); !s) return context.fail(s.error());
  }
  auto sweeps = report::parse_sweeps(options.sweeps);
  if (!sweeps) return context.fail(sweeps.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  context.say_rules(*rules);
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

  Output output;
  if (!options.json.empty()) {
    if (auto s = write_report(options.json, report::json(*comparison), output.sink()); !s) {
      return output.finish(context, std::move(s));
    }
  }
  if (!options.csv.empty()) {
    if (auto s = write_report(options.csv, report::csv(*comparison), output.sink()); !s) {
      return output.finish(context, std::move(s));
    }
  }
  if (options.json == "-" || options.csv == "-") return output.finish(context, success());
  return output.finish(context, output.sink().write(report::text(*comparison)));
}

}  // namespace forewarm::cli
