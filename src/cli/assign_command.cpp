#include "assign/problem.h"
#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "io/read_all.h"
#include "report/assignment.h"

namespace forewarm::cli {

namespace {

Result<std::optional<rules::Matrix>> matrix_of(const std::string& file, const rules::Rules& rules) {
  if (file.empty()) return std::optional<rules::Matrix>();
  auto text = io::read_all(file, rules::kMaxMatrixBytes);
  if (!text) {
    text.error().kind = Error::Kind::rules;  // as with a rule file
    return std::move(text.error());
  }
  auto matrix = rules::load_matrix(*text, file, rules);
  if (!matrix) return std::move(matrix.error());
  return std::optional(std::move(*matrix));
}

}  // namespace

int run_assign(const Context& context, const AssignOptions& options) {
  Outputs outputs(context, {.json = options.json,
                            .inputs = {{"the job", options.job},
                                       {"the matrix", options.matrix},
                                       {"the rule file", context.rule_file()}}});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  auto matrix = matrix_of(options.matrix, *rules);
  if (!matrix) return context.fail(matrix.error());
  const rules::Matrix* pairs = *matrix ? &**matrix : nullptr;
  auto loaded = load_job(context, options.job, *rules);
  if (!loaded) return context.fail(loaded.error());
  // A matrix without --by asks for the least of what it counts.
  const bool by_purge = options.by.empty() ? pairs != nullptr : options.by == "purge";
  using By = assign::Problem::By;
  auto problem = assign::problem_of(loaded->job, *rules, by_purge ? By::purge : By::time, pairs);
  if (!problem) return context.fail(problem.error());
  auto assignment = assign::solve(*problem);
  if (!assignment) return context.fail(assignment.error());
  const report::AssignmentSummary summary{
      shown_name(options.job), *rules, *problem, *assignment, pairs, context.text_width()};
  return outputs.finish(
      {.text = report::assignment_text(summary), .json = report::assignment_json(summary)});
}

}  // namespace forewarm::cli
