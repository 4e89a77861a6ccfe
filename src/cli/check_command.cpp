#include "check/check.h"

#include <thread>

#include "cli/commands.h"
#include "cli/plans.h"
#include "io/progress.h"
#include "report/findings.h"
#include "rules/words.h"

namespace forewarm::cli {

namespace {

int explain(const Context& context, const std::string& id) {
  Output output;
  if (id == "all") return output.finish(context, output.sink().write(report::explain_all()));
  if (const auto known = check::id_of(id)) {
    return output.finish(context, output.sink().write(std::string(check::explain(*known)) + "\n"));
  }
  std::vector<std::string> ids;
  for (std::size_t i = 0; i < check::kIds; ++i) {
    ids.emplace_back(check::name_of(check::Id(i)));
  }
  Error e{Error::Kind::usage, "no finding is called \"" + printable(id) + "\""};
  if (const auto near = rules::nearest(id, ids)) e.hint = "did you mean " + *near + "?";
  return context.fail(e);
}

}  // namespace

int run_check(const Context& context, const CheckOptions& options) {
  if (!options.explain.empty()) return explain(context, options.explain);
  if (options.first.empty()) {
    return context.fail(
        {Error::Kind::usage, "which job? check ORIGINAL REWRITTEN, or REWRITTEN alone"});
  }
  const bool alone = options.second.empty();
  const std::string& rewritten = alone ? options.first : options.second;
  if (!alone && options.first == "-" && options.second == "-") {
    return context.fail({Error::Kind::usage, "only one of the two can be standard input"});
  }
  const Outputs outputs{.json = options.json,
                        .inputs = {{"the job", options.first},
                                   {"the job", options.second},
                                   {"the rule file", context.rule_file()}}};
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());

  std::optional<OpenJob> original;
  if (!alone) {
    auto opened = open_job(options.first);  // restored, should it be a rewrite itself
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
  how.rewritten_name = rewritten == "-" ? "standard input" : rewritten;
  how.threads = std::thread::hardware_concurrency();
  how.progress = [&](std::uint64_t done) { progress.update(done); };
  auto found = check::check(original ? &original->job() : nullptr, *text, *rules, how);
  progress.finish();
  if (!found) return context.fail(found.error());
  if (alone && !found->has_header && found->inserted + found->disabled == 0 &&
      found->findings.count(check::Id::mark_damaged) == 0) {
    return context.fail({Error::Kind::refused, "not a job that forewarm rewrote: it bears no marks",
                         how.rewritten_name, 1, 0, "",
                         "give the original too, to compare the two"});
  }
  if (found->rules_differ) {
    context.note(
        "the job was rewritten with other rules than those in force: findings may come of that");
  }
  return outputs.finish(context,
                        {.text = report::findings_text(*found, how.rewritten_name, *rules),
                         .json = report::findings_json(*found, *rules)},
                        found->findings.list().empty() ? kDone : kDiffers);
}

}  // namespace forewarm::cli
