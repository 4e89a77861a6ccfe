#include "check/check.h"

#include <thread>

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "io/progress.h"
#include "report/findings.h"

namespace forewarm::cli {

int run_check(const Context& context, const CheckOptions& options) {
  if (!options.explain.empty()) {
    auto text = report::explanation(options.explain);
    return text ? print(context, std::move(*text)) : context.fail(text.error());
  }
  if (options.first.empty()) {
    return context.fail(
        {Error::Kind::usage, "which job? check ORIGINAL REWRITTEN, or REWRITTEN alone"});
  }
  const bool alone = options.second.empty();
  const std::string& rewritten = alone ? options.first : options.second;
  if (!alone && options.first == "-" && options.second == "-") {
    return context.fail({Error::Kind::usage, "only one of the two can be standard input"});
  }
  Outputs outputs(context, {.json = options.json,
                            .inputs = {{"the job", options.first},
                                       {"the job", options.second},
                                       {"the rule file", context.rule_file()}}});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());

  std::optional<OpenJob> original;
  if (!alone) {
    auto opened = open_job(options.first);  // restored if it is a rewritten job itself
    if (!opened) return context.fail(opened.error());
    original.emplace(std::move(*opened));
  }
  auto text = open_text(rewritten);
  if (!text) return context.fail(text.error());
  if (text->size() == 0) {
    return context.fail({Error::Kind::refused, "the job is empty", rewritten});
  }

  io::Progress progress(2, context.progress_wanted(), "checking", text->size());
  check::Options how;
  how.original_name = options.first;
  how.rewritten_name = shown_name(rewritten);
  how.threads = std::thread::hardware_concurrency();
  how.progress = [&](std::uint64_t done) { progress.update(done); };
  auto found = check::check(original ? &original->job() : nullptr, *text, *rules, how);
  progress.finish();
  if (!found) return context.fail(found.error());
  if (alone && !found->bears_marks()) {
    return context.fail({Error::Kind::refused, "not a job that forewarm rewrote: it bears no marks",
                         how.rewritten_name, 1, 0, "",
                         "give the original too, to compare the two"});
  }
  if (found->rules_differ) {
    context.note(
        "the job was rewritten with other rules than those in force: findings may come of that");
  }
  return outputs.finish({.text = report::findings_text(*found, how.rewritten_name, *rules),
                         .json = report::findings_json(*found, *rules)},
                        found->findings.list().empty() ? kDone : kDiffers);
}

}  // namespace forewarm::cli
