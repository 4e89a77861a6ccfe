#include <fmt/format.h>

#include <memory>

#include "cli/commands.h"
#include "cli/mapping.h"
#include "cli/plans.h"
#include "io/replace.h"
#include "rewrite/diff.h"
#include "rewrite/moved.h"
#include "rewrite/rewrite.h"

namespace forewarm::cli {

namespace {

class Run {
 public:
  Run(const Context& context, const RewriteOptions& options)
      : context_(context), options_(options) {}

  int run() {
    writes_nothing_ = options_.diff || options_.dry_run;
    const std::string& out = options_.out.empty() ? options_.job : options_.out;  // or in place
    to_stdout_ = !writes_nothing_ && is_standard_output(out);
    if (options_.diff && !options_.out.empty()) {
      return context_.fail({Error::Kind::usage, "--diff writes no job: it does not go with -o"});
    }
    Outputs outputs{.html = options_.html,
                    .json = options_.json,
                    .shows_text = false,
                    .inputs = {{"the job", options_.job}, {"the rule file", context_.rule_file()}}};
    if (!writes_nothing_) outputs.job = out;
    if (options_.diff) outputs.job = "-";
    if (auto s = outputs.check(); !s) return context_.fail(s.error());
    auto rules = context_.rules(Guesses::if_asked_for);
    if (!rules) return context_.fail(rules.error());

    // In place, the lock comes first: a second hook on the file waits, then reads the new bytes.
    if (!writes_nothing_ && !to_stdout_) {
      const io::Replacement::Options how{.allow_hard_linked = options_.hard_linked};
      auto opened = options_.out.empty() ? io::Replacement::open(options_.job, how)
                                         : io::Replacement::create(options_.out, how);
      if (!opened) return context_.fail(opened.error());
      replacement_ = std::move(*opened);
    }
    auto input = open_job(options_.job);
    if (!input) return context_.fail(input.error());
    auto job = scan_job(context_, input->job(), *rules, options_.job);
    if (!job) return context_.fail(job.error());
    if (!options_.map.map.empty()) {
      auto mapping = map_tools(context_, input->job(), *rules, options_.job, options_.map, *job);
      if (!mapping) return context_.fail(mapping.error());
      if (*mapping) {
        mapping_ = std::move(*mapping);
        *job = std::move(mapping_->job);
        *rules = mapping_->rules;
        for (const std::string& line : mapping_->loading) context_.note(line);
      }
    }
    auto plan = make_plan(*job, *rules, rules->gap.policy);
    if (!plan) return context_.fail(plan.error());
    Reports reports;
    if (!options_.html.empty() || !options_.json.empty()) {
      auto made = make_reports(options_.job, *job, *rules);
      if (!made) return context_.fail(made.error());
      reports = std::move(*made);
    }
    if (auto s = outputs.write(reports, output_); !s) {
      return output_.finish(context_, std::move(s));
    }
    return deliver(*input, *job, *plan, *rules);
  }

 private:
  int deliver(OpenJob& input, const job::Job& job, const plan::Plan& plan,
              const rules::Rules& rules) {
    if (!plan.changes_anything() && !mapping_) {
      context_.note(nothing_to_do(job, rules));
      if (options_.diff && input.original) return show_diff(input, *input.original);
      // In place there is nothing to write, unless an earlier rewrite is to be taken out again.
      if (writes_nothing_ || (replacement_ && options_.out.empty() && !input.original)) {
        return output_.finish(context_, success());
      }
      ByteSink& sink = to_stdout_ ? static_cast<ByteSink&>(output_.sink()) : replacement_->sink();
      return finish(input, sink.copy(input.job(), 0, input.job().size()));
    }
    const auto edits = rewrite::edits_of(job, plan, rules);
    if (options_.diff) {
      auto rewritten = io::FileSource::filled(
          options_.job, [&](ByteSink& sink) { return write(input, job, edits, rules, sink); });
      if (!rewritten) return context_.fail(rewritten.error());
      return show_diff(input, *rewritten);
    }
    summary(job, plan);
    if (writes_nothing_) return output_.finish(context_, success());
    ByteSink& sink = to_stdout_ ? static_cast<ByteSink&>(output_.sink()) : replacement_->sink();
    return finish(input, write(input, job, edits, rules, sink));
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

  void summary(const job::Job& job, const plan::Plan& plan) const {
    context_.note(fmt::format(
        "{} changes, {} commands put in, {} taken out; {:.0f} s of waiting and {:.0f} s of hot "
        "idle in {:.1f} h",
        job.count(job::ChangeKind::toolhead) + job.count(job::ChangeKind::filament) +
            job.count(job::ChangeKind::both),
        plan.commands.size(), plan.disabled.size(), plan.figures.wait_s, plan.figures.hot_idle_s,
        plan.figures.duration_s / 3600));
  }

  int show_diff(OpenJob& input, ByteSource& result) {
    const std::string name = options_.job == "-" ? "job.gcode" : options_.job;
    auto differ = rewrite::diff(input.text, result, {name, name}, output_.sink());
    if (!differ) return output_.finish(context_, std::move(differ.error()));
    return output_.finish(context_, success(), *differ ? kDiffers : kDone);
  }

  int finish(OpenJob& input, Status written) {
    if (!written) return output_.finish(context_, std::move(written));
    if (replacement_) {
      // Whatever was promised on standard output must be out before the file is changed.
      if (const int code = output_.finish(context_, success()); code != kDone) return code;
      auto committed = replacement_->commit(options_.job == "-" ? nullptr : &input.text);
      if (!committed) return context_.fail(committed.error());
      if (replacement_->warning()) context_.note(render(*replacement_->warning()));
      return kDone;
    }
    return output_.finish(context_, success());
  }

  const Context& context_;
  const RewriteOptions& options_;
  bool writes_nothing_ = false, to_stdout_ = false;
  std::unique_ptr<io::Replacement> replacement_;
  std::optional<Mapping> mapping_;
  Output output_;
};

}  // namespace

int run_rewrite(const Context& context, const RewriteOptions& options) {
  return Run(context, options).run();
}

}  // namespace forewarm::cli
