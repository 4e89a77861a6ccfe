#include "cli/commands.h"
#include "cli/plans.h"
#include "io/read_all.h"
#include "plan/assign_question.h"
#include "report/assignment.h"

namespace forewarm::cli {

namespace {

Result<std::optional<rules::Matrix>> matrix_of(const std::string& file, const rules::Rules& rules) {
  if (file.empty()) return std::optional<rules::Matrix>();
  auto text = io::read_all(file, rules::kMostMatrixBytes);
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
  if (auto s = not_the_job(options.json, options.job); !s) return context.fail(s.error());
  if (auto s = not_the_job(options.json, options.matrix); !s) {
    s.error().message = "the report would overwrite the matrix";
    return context.fail(s.error());
  }
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  context.say_rules(*rules);
  auto matrix = matrix_of(options.matrix, *rules);
  if (!matrix) return context.fail(matrix.error());
  const rules::Matrix* pairs = *matrix ? &**matrix : nullptr;
  auto input = open_job(options.job);
  if (!input) return context.fail(input.error());
  auto job = scan_job(context, input->job(), *rules, options.job);
  if (!job) return context.fail(job.error());
  // Who gives a matrix wants less of what is in it.
  const bool by_purge = options.by.empty() ? pairs != nullptr : options.by == "purge";
  using By = plan::AssignQuestion::By;
  auto question = plan::question_of(*job, *rules, by_purge ? By::purge : By::time, pairs);
  if (!question) return context.fail(question.error());
  auto assignment = plan::assign(*question);
  if (!assignment) return context.fail(assignment.error());
  const report::AssignmentSummary summary{options.job == "-" ? "standard input" : options.job,
                                          *rules, *question, *assignment, pairs};
  Output output;
  if (!options.json.empty()) {
    auto s = write_report(options.json, report::assignment_json(summary), output.sink());
    if (!s || options.json == "-") return output.finish(context, std::move(s));
  }
  return output.finish(context, output.sink().write(report::assignment_text(summary)));
}

}  // namespace forewarm::cli
