#include "check/check.h"

#include <thread>

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "io/progress.h"
#include "report/findings.h"

namespace forewarm::cli {

namespace {

Error refused(std::string message, const std::string& name, std::uint64_t line = 0,
              std::string hint = {}) {
  return {Error::Kind::refused, std::move(message), name, line, 0, "", std::move(hint)};
}

// `original` empty: what the marks say that it was.
Result<check::Report> checked(const Context& context, const std::string& original,
                              const std::string& rewritten, const rules::Rules& rules) {
  std::optional<OpenJob> before;
  if (!original.empty()) {
    auto opened = open_job(original);  // restored if it is a rewritten job itself
    if (!opened) return std::move(opened.error());
    before.emplace(std::move(*opened));
  }
  auto text = open_text(rewritten);
  if (!text) return std::move(text.error());
  if (text->size() == 0) return refused("the job is empty", rewritten);

  io::Progress progress(2, context.progress_wanted(), "checking", text->size());
  check::Options how;
  how.original_name = original.empty() ? rewritten : original;
  how.rewritten_name = shown_name(rewritten);
  how.threads = std::thread::hardware_concurrency();
  how.progress = [&](std::uint64_t done) { progress.update(done); };
  auto found = check::check(before ? &before->job() : nullptr, *text, rules, how);
  progress.finish();
  if (found && original.empty() && !found->bears_marks()) {
    return refused("not a job that forewarm rewrote: it bears no marks", how.rewritten_name, 1,
                   "give the original too, to compare the two");
  }
  return found;
}

}  // namespace

int run_check(const Context& context, const CheckOptions& options) {
  if (!options.explain.empty()) {
    if (options.explain == "all") return print(context, report::all_findings_text());
    return run_explain(context, {.words = {options.explain}});
  }
  if (options.first.empty()) {
    return context.fail(
        {Error::Kind::usage, "which job? check ORIGINAL REWRITTEN, or REWRITTEN alone"});
  }
  if (options.first == "-" && options.second == "-") {
    return context.fail({Error::Kind::usage, "only one of the two can be standard input"});
  }
  Outputs outputs(context, {.json = options.json,
                            .inputs = {{"the job", options.first},
                                       {"the job", options.second},
                                       {"the rule file", context.rule_file()}}});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());

  const bool alone = options.second.empty();
  const std::string& rewritten = alone ? options.first : options.second;
  auto found = checked(context, alone ? "" : options.first, rewritten, *rules);
  if (!found) return context.fail(found.error());
  if (found->rules_differ) {
    context.note(
        "the job was rewritten with other rules than those in force: findings may come of that");
  }
  return outputs.finish({.text = report::findings_text(*found, shown_name(rewritten), *rules),
                         .json = report::findings_json(*found, *rules)},
                        found->findings.list().empty() ? kDone : kDiffers);
}

}  // namespace forewarm::cli
