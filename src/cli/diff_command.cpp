#include <fmt/format.h>

#include <future>

#include "cli/commands.h"
#include "cli/diff_view.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "cli/plans.h"
#include "gcode/lines.h"
#include "report/diff_table.h"
#include "rewrite/marks.h"
#include "rewrite/restore.h"

namespace forewarm::cli {

namespace {

// The original as the rule file in force has it.
struct Planned {
  job::Job job;
  std::optional<Mapping> mapping;
  plan::Plan plan;
};

// How --map would be asked for what a rewrite did; empty: no filament has moved.
Result<std::string> map_of(ByteSource& rewritten) {
  gcode::LineReader reader(rewritten);
  gcode::RawLine line;
  for (int i = 0; i < 2; ++i) {
    auto more = reader.next(line);
    if (!more) return std::move(more.error());
    if (!*more) return std::string();
  }
  const std::string begins = std::string(rewrite::kInserted) + std::string(rewrite::kMapped);
  if (!line.text.starts_with(begins)) return std::string();
  std::string out;
  if (const auto map = gcode::read_map(line.text.substr(begins.size()))) {
    for (const auto& [from, to] : *map)
      out += fmt::format("{}{}={}", out.empty() ? "" : ",", from, to);
  }
  return out;
}

Result<std::unique_ptr<Planned>> planned(const Context& context, ByteSource& original,
                                         const std::string& name, const rules::Rules& rules,
                                         const std::string& map) {
  auto out = std::make_unique<Planned>();
  auto job = scan_job(context, original, rules, name, false);
  if (!job) return std::move(job.error());
  out->job = std::move(*job);
  if (!map.empty()) {
    auto mapping = map_tools(context, original, rules, name, {map, true}, out->job);
    if (!mapping) return std::move(mapping.error());
    out->mapping = std::move(*mapping);
    if (out->mapping) out->job = std::move(out->mapping->job);
  }
  const rules::Rules& in_force = out->mapping ? out->mapping->rules : rules;
  auto plan = make_plan(out->job, in_force, in_force.gap.policy);
  if (!plan) return std::move(plan.error());
  out->plan = std::move(*plan);
  return out;
}

class Run {
 public:
  Run(const Context& context, const DiffOptions& options)
      : context_(context), options_(options), outputs_(context) {}

  int run() {
    if (options_.original == "-" && options_.rewritten == "-") {
      return context_.fail({Error::Kind::usage, "only one of the two can be standard input"});
    }
    if (!options_.gap.empty() && !options_.change.empty()) {
      return context_.fail({Error::Kind::usage, "--gap and --change: one place at a time"});
    }
    auto left = open_text(options_.original);
    if (!left) return context_.fail(left.error());
    left_.emplace(std::move(*left));
    auto right = open_text(options_.rewritten);
    if (!right) return context_.fail(right.error());
    if (auto s = begin(*left_, *right); !s) return context_.fail(s.error());
    if (auto s = find_place(); !s) return context_.fail(s.error());
    rewrite::Tally tally;
    if (options_.stat) view_.tally = &tally;
    rewrite::NullSink nowhere;
    ByteSink* out = &nowhere;
    if (!options_.stat) out = &outputs_.standard_output();
    auto differ =
        rewrite::diff(*left_, *right, {options_.original, options_.rewritten}, *out, view_);
    if (!differ) return outputs_.finish(std::move(differ.error()));
    if (!*differ) {
      if (asks_for_place()) context_.note(place_words() + ": nothing is inserted or removed there");
      return outputs_.finish(success());
    }
    if (!options_.stat) return outputs_.finish(success(), kDiffers);
    return outputs_.finish({.text = report::text_of(table_of(tally), context_.text_width())},
                           kDiffers);
  }

 private:
  [[nodiscard]] bool asks_for_place() const {
    return !options_.gap.empty() || !options_.change.empty();
  }
  [[nodiscard]] std::string place_words() const {
    return options_.gap.empty() ? "change " + options_.change : "gap " + options_.gap;
  }

  // Begins to plan the original, which takes longer than to compare the two.
  Status begin(ByteSource& left, ByteSource& right) {
    if (options_.stat && !asks_for_place()) return success();
    const auto was = rewrite::header_of(left);
    if (!was) return was.error();
    if (*was) {
      if (!asks_for_place()) return success();
      Error e{Error::Kind::refused, "a rewritten job has no places of its own",
              shown_name(options_.original), 1};
      e.hint = "compare with its original: forewarm restore gives that back";
      return e;
    }
    auto rules = context_.rules(Guesses::where_no_file);
    if (!rules) {
      if (asks_for_place() || !context_.named_rules().empty()) return rules.error();
      leave_out(rules.error());
      return success();
    }
    rules_ = std::move(*rules);
    const auto header = rewrite::header_of(right);
    if (!header) return header.error();
    if (*header && (**header).rules != rules_->hash) {
      context_.note(
          "the job was rewritten with other rules than those in force: times and places are by "
          "those in force");
    }
    const auto map = map_of(right);
    if (!map) return map.error();
    planning_ = std::async(std::launch::async, [this, &left, map = *map] {
      return planned(context_, left, options_.original, *rules_, map);
    });
    view_.says = [this](const rewrite::HunkPlace& place) {
      if (!ready_) (void)finish_planning();
      return says_ ? says_(place) : std::string();
    };
    return success();
  }

  Status finish_planning() {
    ready_ = true;
    auto made = planning_.get();
    if (!made) {
      if (!asks_for_place()) leave_out(made.error());
      return std::move(made.error());
    }
    planned_ = std::move(*made);
    places_.emplace(planned_->job, planned_->plan);
    // What prints nothing has neither layers nor times.
    if (planned_->job.start) says_ = view_of(*places_, moved()).says;
    return success();
  }

  Status find_place() {
    if (!asks_for_place()) return success();
    if (auto s = finish_planning(); !s) return s;
    const bool gap = options_.change.empty();
    return show_only(view_,
                     {gap ? AskedPlace::Kind::gap : AskedPlace::Kind::change,
                      gap ? options_.gap : options_.change},
                     *places_, planned_->job, planned_->plan, moved());
  }

  [[nodiscard]] const SplicedSource* moved() const {
    return planned_->mapping ? planned_->mapping->text.get() : nullptr;
  }

  void leave_out(const Error& why) const {
    context_.note("layers, times and tools are left out: " + render(why));
  }

  report::Table table_of(const rewrite::Tally& tally) const {
    report::DiffCounts counts{
        .rows = {}, .hunks = tally.hunks(), .plus = tally.plus(), .minus = tally.minus()};
    for (const rewrite::ReasonCount& n : tally.by_reason()) {
      counts.rows.push_back({n.reason, n.inserted, n.removed});
    }
    return report::diff_table(counts);
  }

  const Context& context_;
  const DiffOptions& options_;
  Outputs outputs_;
  std::optional<io::FileSource> left_;
  std::optional<rules::Rules> rules_;
  std::unique_ptr<Planned> planned_;
  std::optional<report::Places> places_;
  rewrite::HunkView view_;
  std::function<std::string(const rewrite::HunkPlace&)> says_;
  bool ready_ = false;
  // Last: until it is over it uses the others.
  std::future<Result<std::unique_ptr<Planned>>> planning_;
};

}  // namespace

int run_diff(const Context& context, const DiffOptions& options) {
  return Run(context, options).run();
}

}  // namespace forewarm::cli
