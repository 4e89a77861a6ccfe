#include "cli/commands.h"
#include "cli/compare_variants.h"
#include "cli/inputs.h"
#include "cli/plans.h"
#include "io/progress.h"
#include "report/compare.h"

namespace forewarm::cli {

namespace {

// Under several policies and thresholds, by one rule file.
int compare_policies(const Context& context, const CompareOptions& options, Outputs& outputs,
                     const std::vector<report::Sweep>& sweeps) {
  const std::string named = options.rules.empty() ? std::string() : options.rules.front();
  auto rules = context.rules_of(Guesses::where_no_file, named, {});
  if (!rules) return context.fail(rules.error());
  auto loaded = load_job(context, options.job, *rules);
  if (!loaded) return context.fail(loaded.error());
  const job::Job& job = loaded->job;
  note_hints(context, job);

  io::Progress progress(2, context.progress_wanted(), "planning",
                        report::plans_needed(rules->gap, sweeps), io::ProgressUnit::items);
  std::uint64_t planned = 0;
  const auto planner = [&](const rules::Rules& tried, rules::Policy policy) {
    auto plan = make_plan(job, tried, policy);
    progress.update(++planned);
    return plan;
  };
  auto comparison = report::compare(shown_name(options.job), job, *rules, sweeps, planner);
  progress.finish();
  if (!comparison) return context.fail(comparison.error());

  return outputs.finish({.text = report::text(*comparison, context.text_width()),
                         .json = report::json(*comparison),
                         .html = options.html.empty() ? "" : report::html(*comparison),
                         .csv = report::csv(*comparison)});
}

}  // namespace

int run_compare(const Context& context, const CompareOptions& options) {
  auto sweeps = report::parse_sweeps(options.sweeps);
  if (!sweeps) return context.fail(sweeps.error());
  auto settings = parsed_settings(options.settings);
  if (!settings) return context.fail(settings.error());
  const bool side_by_side = options.rules.size() > 1 || !settings->empty();
  if (side_by_side && !sweeps->empty()) {
    Error e{Error::Kind::usage, "--sweep goes with one rule file as it is"};
    e.hint = "leave out --sweep, or --set and all --rules but one; --set KEY=VALUE may be repeated";
    return context.fail(e);
  }
  OutputNames names{.html = options.html,
                    .json = options.json,
                    .csv = options.csv,
                    .inputs = {{"the job", options.job}}};
  const std::vector<std::string> files =
      options.rules.empty() ? std::vector<std::string>{""} : options.rules;
  for (const std::string& file : files) {
    names.inputs.push_back({"the rule file", rule_file_in_force(file)});
  }
  Outputs outputs(context, std::move(names));
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  if (!side_by_side) return compare_policies(context, options, outputs, *sweeps);

  auto variants = compare_variants(context, options.job, files, *settings);
  if (!variants) return context.fail(variants.error());
  return outputs.finish({.text = report::text(*variants, context.text_width()),
                         .json = report::json(*variants),
                         .html = options.html.empty() ? "" : report::html(*variants),
                         .csv = report::csv(*variants)});
}

}  // namespace forewarm::cli
