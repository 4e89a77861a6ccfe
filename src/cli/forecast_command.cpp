#include <filesystem>

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/mapping.h"
#include "cli/plans.h"
#include "io/read_all.h"
#include "report/calendar.h"
#include "rules/day_hours.h"

namespace forewarm::cli {

namespace {

Error needs_start(const char* option) {
  Error e{Error::Kind::usage, std::string(option) + " needs --start"};
  e.hint = "say when the job is to begin, such as --start 2027-03-05T18:00";
  return e;
}

// Without the rule file's hours away.
Result<std::optional<report::Schedule>> schedule_of(const ForecastOptions& options) {
  if (options.start.empty()) {
    if (!options.away.empty()) return needs_start("--away");
    if (!options.done_by.empty()) return needs_start("--done-by");
    if (options.within_h > 0) return needs_start("--within");
    if (!options.ics.empty()) return needs_start("--ics");
    return std::optional<report::Schedule>();
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
  if (report::whole_day(out.away)) {
    return Error{Error::Kind::usage,
                 "--away: " + std::string(rules::kAwayAllDay),
                 "",
                 {},
                 {},
                 "",
                 std::string(rules::kAwayAllDayHint)};
  }
  if (options.within_h > 0) out.within_s = std::int64_t(options.within_h) * 3600;
  if (!options.done_by.empty()) {
    auto done_by = report::parse_time("--done-by", options.done_by);
    if (!done_by) return std::move(done_by.error());
    if (done_by->s <= out.start.s) {
      Error e{Error::Kind::usage, "--done-by is not after --start"};
      e.hint = "the job begins at " + report::spaced_minute(out.start);
      return e;
    }
    out.done_by = *done_by;
  }
  return std::optional(std::move(out));
}

// What the file of events holds before it is replaced; REQUIRES: Outputs::check() has passed.
Result<std::string> earlier_events(const std::string& file) {
  constexpr std::size_t kMost = 16U << 20U;
  std::error_code none;
  if (file.empty() || is_standard_output(file) || !std::filesystem::is_regular_file(file, none)) {
    return std::string();
  }
  return io::read_all(file, kMost);
}

}  // namespace

int run_forecast(const Context& context, const ForecastOptions& options) {
  auto schedule = schedule_of(options);
  if (!schedule) return context.fail(schedule.error());
  Outputs outputs(context,
                  {.html = options.html,
                   .json = options.json,
                   .csv = options.csv,
                   .ics = options.ics,
                   .inputs = {{"the job", options.job}, {"the rule file", context.rule_file()}}});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  const auto earlier = earlier_events(options.ics);
  if (!earlier) return context.fail(earlier.error());
  auto rules = context.rules(Guesses::where_no_file);
  if (!rules) return context.fail(rules.error());
  if (*schedule && options.away.empty()) {
    (*schedule)->away = report::away_of(rules->attention);
  }
  auto loaded = load_job(context, options.job, *rules);
  if (!loaded) return context.fail(loaded.error());
  std::optional<Mapping> mapping;
  if (!options.map.map.empty()) {
    auto made =
        map_tools(context, loaded->input.job(), *rules, options.job, options.map, loaded->job);
    if (!made) return context.fail(made.error());
    mapping = std::move(*made);
  }
  const job::Job& job = mapping ? mapping->job : loaded->job;
  note_hints(context, job);
  ByteSource* text = &loaded->input.job();
  if (mapping) text = mapping->text.get();
  auto reports = make_reports(
      options.job, {*text, job, mapping ? mapping->rules : *rules, mapping ? &*mapping : nullptr},
      {.width = context.text_width(),
       .schedule = *schedule,
       .sheet = options.sheet,
       .page = !options.html.empty(),
       .timeline = true,
       .colour = context.colours_text(),
       .earlier_ics = *earlier,
       .version = options.version});
  if (!reports) return context.fail(reports.error());
  if (mapping) {
    std::string loading;
    for (const std::string& line : mapping->loading) loading += line + '\n';
    reports->text = loading + '\n' + reports->text;
  }
  const int code = outputs.finish(*reports);
  if (code == kDone) note_patterns(context, *rules, job);
  return code;
}

}  // namespace forewarm::cli
