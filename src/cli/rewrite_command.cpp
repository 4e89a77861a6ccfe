#include <fmt/format.h>

#include <functional>

#include "cli/commands.h"
#include "cli/diff_view.h"
#include "cli/hook.h"
#include "cli/inputs.h"
#include "cli/mapping.h"
#include "cli/outputs.h"
#include "cli/plans.h"
#include "cli/spools.h"
#include "io/cleanup.h"
#include "plan/describe.h"
#include "report/findings.h"
#include "report/format.h"
#include "report/spools.h"
#include "rewrite/diff.h"
#include "rewrite/moved.h"
#include "rewrite/rewrite.h"

namespace forewarm::cli {

namespace {

class Run {
 public:
  Run(const Context& context, const RewriteOptions& options)
      : context_(context), options_(options), outputs_(context, names_of(context, options)) {}

  int run() {
    if (options_.diff && !options_.out.empty()) {
      return context_.fail({Error::Kind::usage, "--diff writes no job: it does not go with -o"});
    }
    if (options_.diff && options_.check) {
      Error e{Error::Kind::usage, "--diff writes no job: it does not go with --check"};
      e.hint = "--dry-run --check checks the rewrite and writes nothing either";
      return context_.fail(e);
    }
    if (auto s = hook_allowed(context_, options_); !s) return context_.fail(s.error());
    if (auto s = outputs_.check(); !s) return context_.fail(s.error());
    auto rules = context_.rules(Guesses::if_asked_for);
    if (!rules) return context_.fail(rules.error());
    // In place, the lock comes first: a second hook on the file waits, then reads the new bytes.
    if (writes_a_job(options_)) {
      if (auto s = outputs_.open_job(); !s) return context_.fail(s.error());
    }
    auto loaded = load_job(context_, options_.job, *rules);
    if (!loaded) return context_.fail(loaded.error());
    if (checks()) rules_ = *rules;
    if (auto s = map(*loaded, *rules); !s) return context_.fail(s.error());
    note_hints(context_, loaded->job);
    auto plan = make_plan(loaded->job, *rules, rules->gap.policy);
    if (!plan) return context_.fail(plan.error());
    if (!checks()) {
      if (auto s = make(*loaded, *rules); !s) return context_.fail(s.error());
      if (auto s = outputs_.write(reports_); !s) return outputs_.finish(std::move(s));
    }
    if (auto s = warn_of_spools(*loaded, *plan, *rules); !s) return outputs_.finish(std::move(s));
    const int code = deliver(*loaded, *plan, *rules);
    if (!options_.hook && (code == kDone || code == kDiffers)) {
      note_patterns(context_, *rules, loaded->job);
    }
    return code;
  }

 private:
  static bool writes_a_job(const RewriteOptions& options) {
    return !options.diff && !options.dry_run;
  }
  [[nodiscard]] bool checks() const { return options_.hook || options_.check; }

  static OutputNames names_of(const Context& context, const RewriteOptions& options) {
    OutputNames names{.html = options.hook ? hook_page(options) : options.html,
                      .json = options.json,
                      .in_place = options.out.empty(),
                      .hard_linked = options.hard_linked,
                      .elsewhere = options.hook ? "" : "write elsewhere with -o",
                      .shows_text = false,
                      .inputs = {{"the job", options.job}, {"the rule file", context.rule_file()}}};
    if (writes_a_job(options)) names.job = names.in_place ? options.job : options.out;
    if (options.diff) names.job = "-";
    return names;
  }

  // Gives the filaments other tools where --map asks for it, in the job and in the rules.
  Status map(LoadedJob& loaded, rules::Rules& rules) {
    if (options_.map.map.empty()) return success();
    auto mapping =
        map_tools(context_, loaded.input.job(), rules, options_.job, options_.map, loaded.job);
    if (!mapping) return std::move(mapping.error());
    if (!*mapping) return success();
    mapping_ = std::move(*mapping);
    loaded.job = std::move(mapping_->job);
    rules = mapping_->rules;
    for (const std::string& line : mapping_->loading) context_.note(line);
    return success();
  }

  Scanned scanned(LoadedJob& loaded, const rules::Rules& rules) const {
    if (mapping_) return {*mapping_->text, loaded.job, rules, &*mapping_};
    return {loaded.input.job(), loaded.job, rules};
  }

  // The reports that are wanted, with what a check of the rewrite said, if it ran.
  Status make(LoadedJob& loaded, const rules::Rules& rules, const check::Report* found = nullptr) {
    const bool page = options_.hook || !options_.html.empty();
    if (!page && options_.json.empty()) return success();
    auto made = make_reports(options_.job, scanned(loaded, rules),
                             {.width = context_.text_width(),
                              .page = page,
                              .version = options_.version,
                              .checked = found});
    if (!made) return std::move(made.error());
    reports_ = std::move(*made);
    return success();
  }

  // Of a hook, they become part of the line that it says.
  Status warn_of_spools(LoadedJob& loaded, const plan::Plan& plan, const rules::Rules& rules) {
    const Scanned s = scanned(loaded, rules);
    const auto ends = spool_ends(s.text, s.job, plan, rules, s.mapping);
    if (!ends) return ends.error();
    for (const std::string& words : report::spool_warnings(s.job, plan, rules, *ends)) {
      if (options_.hook) {
        spools_ += "; warning: " + words;
      } else {
        context_.warn(printable(options_.job, 4096) + ": " + words);
      }
    }
    return success();
  }

  int deliver(LoadedJob& loaded, const plan::Plan& plan, const rules::Rules& rules) {
    OpenJob& input = loaded.input;
    const job::Job& job = loaded.job;
    if (!plan.changes_anything() && !mapping_) {
      say(nothing_to_do(job, rules));
      if (options_.diff && input.original) return show_diff(input, *input.original, job, plan);
      // In place there is nothing to write, unless an earlier rewrite has to be undone.
      const bool already_there =
          outputs_.job_replaces_a_file() && options_.out.empty() && !input.original;
      const auto copy = [&](ByteSink& sink) {
        return sink.copy(input.job(), 0, input.job().size());
      };
      if (options_.check && !options_.hook) {
        return deliver_checked(loaded, rules, copy, writes_a_job(options_) && !already_there);
      }
      if (options_.hook) {
        if (auto s = make(loaded, rules); !s) return context_.fail(s.error());
      }
      if (already_there) return finish_page();
      if (!writes_a_job(options_)) return outputs_.finish(success());
      return finish(input, copy(outputs_.job()));
    }
    const auto edits = rewrite::edits_of(job, plan, rules);
    const auto fill = [&](ByteSink& sink) { return write(input, job, edits, rules, sink); };
    if (options_.diff) {
      auto rewritten = io::FileSource::filled(options_.job, fill);
      if (!rewritten) return context_.fail(rewritten.error());
      return show_diff(input, *rewritten, job, plan);
    }
    summary(job, plan);
    if (options_.check && !options_.hook) {
      return deliver_checked(loaded, rules, fill, writes_a_job(options_));
    }
    if (!writes_a_job(options_)) return outputs_.finish(success());
    Status written = fill(outputs_.job());
    if (!options_.hook || !written) return finish(input, std::move(written));
    auto rewritten = outputs_.written_job();
    if (!rewritten) return context_.fail(rewritten.error());
    auto found = check_rewrite(input.job(), *rewritten, *rules_, options_.job);
    if (!found) return context_.fail(found.error());
    if (!found->findings.list().empty()) {
      (void)context_.fail(found_wrong(found->findings, options_.job));
      return kDiffers;
    }
    said_ += "; checked: no findings";
    if (auto s = make(loaded, rules, &*found); !s) return context_.fail(s.error());
    return finish(input, success());
  }

  // Of --check: the reports are written in any case, the job only if nothing is found.
  int deliver_checked(LoadedJob& loaded, const rules::Rules& rules,
                      const std::function<Status(ByteSink&)>& fill, bool writes) {
    OpenJob& input = loaded.input;
    // What nobody could take back, or what goes nowhere, is first written aside.
    const bool aside = !writes || outputs_.job_is_direct();
    if (!aside) {
      if (auto s = fill(outputs_.job()); !s) return outputs_.finish(std::move(s));
    }
    auto rewritten = aside ? io::FileSource::filled(options_.job, fill) : outputs_.written_job();
    if (!rewritten) return context_.fail(rewritten.error());
    auto found = check_rewrite(input.job(), *rewritten, *rules_, options_.job);
    if (!found) return context_.fail(found.error());
    if (auto s = make(loaded, rules, &*found); !s) return context_.fail(s.error());
    if (auto s = outputs_.write(reports_); !s) return outputs_.finish(std::move(s));

    const std::string& name = options_.out.empty() ? options_.job : options_.out;
    const std::string text = report::findings_text(*found, shown_name(name), *rules_);
    if (!found->findings.list().empty()) {
      const int shown = shows_findings() ? print(context_, text) : outputs_.finish(success());
      (void)context_.fail(found_wrong(found->findings, options_.job));
      return shown == kDone ? kDiffers : shown;
    }
    // Said before the job is put in place: then nothing may go wrong any more.
    Status status = shows_findings() ? outputs_.standard_output().write(text) : success();
    if (status && writes && aside) {
      status = outputs_.job().copy(*rewritten, 0, rewritten->size());
    }
    int code = kDone;
    if (writes) {
      code = finish(input, std::move(status));
    } else {
      code = outputs_.finish(std::move(status));
    }
    if (code != kDone || shows_findings()) return code;
    context_.note("checked: " + report::found_words(*found));
    return kDone;
  }

  // Whether standard output is left to what the check says.
  [[nodiscard]] bool shows_findings() const {
    const std::string& job = options_.out.empty() ? options_.job : options_.out;
    const bool job_there = writes_a_job(options_) && is_standard_output(job);
    return !job_there && !is_standard_output(options_.html) && !is_standard_output(options_.json);
  }

  Status write(OpenJob& input, const job::Job& job, const std::vector<rewrite::Edit>& edits,
               const rules::Rules& rules, ByteSink& sink) {
    if (!mapping_) {
      rewrite::ToSink pieces(input.job(), sink);
      return rewrite::rewrite(input.job(), job, edits, rules.hash, pieces);
    }
    const rewrite::Header header{rules.hash, mapping_->original_bytes, mapping_->original_hash};
    rewrite::MovedToSink pieces(input.job(), *mapping_->text, mapping_->lines, mapping_->map,
                                header, sink);
    return rewrite::rewrite(*mapping_->text, job, edits, rules.hash, pieces);
  }

  static std::string nothing_to_do(const job::Job& job, const rules::Rules& rules) {
    if (rules.gap.policy == rules::Policy::as_sliced) {
      return "policy as-sliced: the job is left as it is";
    }
    if (!job.start) return "the job prints nothing: it is left as it is";
    return "only one tool prints, once: the job is left as it is, also what it leaves on";
  }

  // A note at once; of a hook, part of the line that it says when all is done.
  void say(const std::string& words) {
    if (!options_.hook) return context_.note(words);
    said_ += (said_.empty() ? "" : "; ") + words;
  }

  void summary(const job::Job& job, const plan::Plan& plan) {
    const auto changes = job.count(job::ChangeKind::toolhead) +
                         job.count(job::ChangeKind::filament) + job.count(job::ChangeKind::both);
    say(fmt::format("{}, {} inserted, {} removed; {} of waiting and {} of hot idle in {}",
                    report::counted(changes, "change", "changes"),
                    report::counted(plan.commands.size(), "command", "commands"),
                    plan.disabled.size(), report::duration(plan.figures.wait_s),
                    report::duration(plan.figures.hot_idle_s),
                    report::duration(plan.figures.duration_s)));
    if (plan.policy != rules::Policy::lookahead) return;
    const std::string over = plan::describe_over_limit(plan.figures);
    if (!over.empty()) say(over);
  }

  // The page of a hook.
  Status write_page() {
    if (!options_.reports.empty()) {
      if (auto s = make_folder(options_.reports); !s) return s;
    }
    return outputs_.write(reports_);
  }

  // Where the job already is what it is to be.
  int finish_page() {
    if (!options_.hook) return outputs_.finish(success());
    const int code = outputs_.finish(write_page());
    if (code == kDone) tell();
    return code;
  }

  void tell() const {
    context_.note(
        fmt::format("{}: {}{}; report: {}; rules: {}", printable(options_.job, 4096), said_,
                    spools_, printable(hook_page(options_), 4096),
                    rules_->built_in ? "built-in guesses" : printable(rules_->file, 4096)));
  }

  int show_diff(OpenJob& input, ByteSource& result, const job::Job& job, const plan::Plan& plan) {
    const std::string name = options_.job == "-" ? "job.gcode" : options_.job;
    const report::Places places(job, plan);
    // Of a job that was rewritten before, the places are the original's.
    const rewrite::HunkView view = input.original
                                       ? rewrite::HunkView{}
                                       : view_of(places, mapping_ ? mapping_->text.get() : nullptr);
    auto differ = rewrite::diff(input.text, result, {name, name}, outputs_.standard_output(), view);
    if (!differ) return outputs_.finish(std::move(differ.error()));
    return outputs_.finish(success(), *differ ? kDiffers : kDone);
  }

  int finish(OpenJob& input, Status written) {
    const io::FileSource* const source = options_.job == "-" ? nullptr : &input.text;
    if (!options_.hook) return outputs_.finish_job(std::move(written), source);
    // The page first: once the job is replaced, nothing may go wrong any more.
    if (written) written = outputs_.prepare_job(source);
    if (written) written = write_page();
    if (written) io::hold_signals();
    const int code = outputs_.finish_job(std::move(written), source);
    if (code == kDone) tell();
    return code;
  }

  const Context& context_;
  const RewriteOptions& options_;
  Outputs outputs_;
  std::optional<Mapping> mapping_;
  // Where it checks: the rules as the file has them. Of a hook: its page, and what it will say.
  std::optional<rules::Rules> rules_;
  Reports reports_;
  std::string said_, spools_;
};

}  // namespace

int run_rewrite(const Context& context, const RewriteOptions& options) {
  if (options.hook) return Run(context.unwatched(), options).run();
  return Run(context, options).run();
}

}  // namespace forewarm::cli
