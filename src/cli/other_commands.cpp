#include <fmt/format.h>

#include <set>

#include "cli/commands.h"
#include "cli/mapping.h"
#include "cli/plans.h"
#include "io/read_all.h"
#include "io/replace.h"
#include "plan/lead_time.h"
#include "report/calendar.h"
#include "report/figures.h"
#include "rewrite/diff.h"
#include "rewrite/restore.h"
#include "rules/load.h"

namespace forewarm::cli {

namespace {

Result<std::optional<report::Schedule>> schedule_of(const ForecastOptions& options) {
  if (options.start.empty()) {
    if (options.away.empty()) return std::optional<report::Schedule>();
    Error e{Error::Kind::usage, "--away needs --start"};
    e.hint = "say when the job is to begin, such as --start 2027-03-05T18:00";
    return e;
  }
  report::Schedule out;
  auto start = report::parse_start(options.start);
  if (!start) return std::move(start.error());
  out.start = *start;
  for (const std::string& text : options.away) {
    auto away = report::parse_away(text);
    if (!away) return std::move(away.error());
    out.away.push_back(*away);
  }
  return std::optional(std::move(out));
}

}  // namespace

int run_forecast(const Context& context, const ForecastOptions& options) {
  auto schedule = schedule_of(options);
  if (!schedule) return context.fail(schedule.error());
  const Outputs outputs{
      .html = options.html,
      .json = options.json,
      .csv = options.csv,
      .inputs = {{"the job", options.job}, {"the rule file", context.rule_file()}}};
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  auto input = open_job(options.job);
  if (!input) return context.fail(input.error());
  auto job = scan_job(context, input->job(), *rules, options.job);
  if (!job) return context.fail(job.error());
  std::optional<Mapping> mapping;
  if (!options.map.map.empty()) {
    auto made = map_tools(context, input->job(), *rules, options.job, options.map, *job);
    if (!made) return context.fail(made.error());
    mapping = std::move(*made);
  }
  auto reports = make_reports(options.job, mapping ? mapping->job : *job,
                              mapping ? mapping->rules : *rules, *schedule);
  if (!reports) return context.fail(reports.error());
  if (mapping) {
    std::string loading;
    for (const std::string& line : mapping->loading) loading += line + '\n';
    reports->text = loading + '\n' + reports->text;
  }
  return outputs.finish(context, *reports);
}

int run_restore(const Context& context, const RestoreOptions& options) {
  const bool to_stdout = options.out == "-" || (options.job == "-" && options.out.empty());
  std::unique_ptr<io::Replacement> replacement;
  if (!to_stdout) {
    const io::Replacement::Options how{.allow_hard_linked = options.hard_linked};
    auto opened = options.out.empty() ? io::Replacement::open(options.job, how)
                                      : io::Replacement::create(options.out, how);
    if (!opened) return context.fail(opened.error());
    replacement = std::move(*opened);
  }
  auto text = open_text(options.job);
  if (!text) return context.fail(text.error());
  const std::string name = options.job == "-" ? "standard input" : options.job;
  if (!replacement || replacement->direct()) {
    // What is out cannot be taken back: verify first.
    rewrite::NullSink nowhere;
    if (auto s = rewrite::restore(*text, name, nowhere); !s) return context.fail(s.error());
  }
  Output output;
  if (!replacement) {
    return output.finish(context, rewrite::restore(*text, name, output.sink()));
  }
  if (auto s = rewrite::restore(*text, name, replacement->sink()); !s) {
    return context.fail(s.error());
  }
  auto committed = replacement->commit(options.job == "-" ? nullptr : &*text);
  if (!committed) return context.fail(committed.error());
  if (replacement->warning()) context.note(render(*replacement->warning()));
  return kDone;
}

int run_diff(const Context& context, const std::string& original, const std::string& rewritten) {
  if (original == "-" && rewritten == "-") {
    return context.fail({Error::Kind::usage, "only one of the two can be standard input"});
  }
  auto left = open_text(original);
  if (!left) return context.fail(left.error());
  auto right = open_text(rewritten);
  if (!right) return context.fail(right.error());
  Output output;
  auto differ = rewrite::diff(*left, *right, {original, rewritten}, output.sink());
  if (!differ) return output.finish(context, std::move(differ.error()));
  return output.finish(context, success(), *differ ? kDiffers : kDone);
}

int run_rules_check(const Context& context, const std::string& file) {
  auto rules = rules_in_force(file, Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  Output output;
  std::string which = "  rules: " + report::rules_words(*rules) + '\n';
  if (const std::string bounded = plan::bounded_lead(rules->gap); !bounded.empty()) {
    which += "  note: " + bounded + '\n';
  }
  std::string text;
  if (rules->toolhead_per_tool_seen) {
    text = "good: one toolhead for each T number in a job\n" + which;
  } else {
    text = fmt::format("good: {} toolheads, {} filaments\n", rules->toolheads.size(),
                       rules->filaments.size()) +
           which;
    for (const rules::Toolhead& h : rules->toolheads) {
      std::string tools;
      for (const int t : h.tools) tools += fmt::format(" T{}", t);
      text += fmt::format("  {}: heater {},{}{}\n", printable(h.name), h.heater_index, tools,
                          h.tools.size() > 1 ? ", by feeder" : "");
    }
  }
  return output.finish(context, output.sink().write(text));
}

int run_rules_new(const Context& context, const std::string& from) {
  Output output;
  if (from.empty()) return output.finish(context, output.sink().write(rules::built_in_text()));
  auto rules = rules::built_in();
  if (!rules) return context.fail(rules.error());
  auto input = open_job(from);
  if (!input) return context.fail(input.error());
  auto job = scan_job(context, input->job(), *rules, from);
  if (!job) return context.fail(job.error());
  if (job->heads.empty()) {
    return context.fail({Error::Kind::refused, "the job heats and selects no tool", from, 0, 0, "",
                         "without --from, a rule file for any job is printed"});
  }
  std::string text =
      "# A rule file begun from a job. Measure the heater values of your machine: these are\n"
      "# cautious guesses. Join the tools that a feeder serves into one toolhead.\n"
      "version = 1\n";
  std::set<int> tools;
  for (const rules::Toolhead& h : job->heads) tools.insert(h.tools.front());
  for (const int t : tools) {
    const rules::Toolhead& pattern = rules->toolheads.front();
    text += fmt::format(
        "\n[[toolhead]]\nname = \"T{0}\"\ntools = [{0}]\n"
        "heater = {{ index = {0}, power_w = {1:g}, full_drive_c = {2:g}, time_constant_s = {3:g}, "
        "dead_time_s = {4:g}, max_c = {5:g} }}\npark_s = {6:g}\npick_s = {7:g}\nexchange_s = "
        "{8:g}\n",
        t, pattern.hotend.power_w, pattern.hotend.full_drive_c, pattern.hotend.time_constant_s,
        pattern.hotend.dead_time_s, pattern.max_c, pattern.park_s, pattern.pick_s,
        pattern.exchange_s);
  }
  for (const int t : tools) {
    const rules::Filament f = rules->filament(t);
    text += fmt::format("\n[[filament]]\ntool = {0}\nname = \"T{0}\"\nstandby_c = {1:g}\n", t,
                        f.standby_c);
  }
  return output.finish(context, output.sink().write(text));
}

}  // namespace forewarm::cli
