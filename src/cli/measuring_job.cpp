#include "cli/measuring_job.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "cli/inputs.h"
#include "cli/outputs.h"
#include "cli/plans.h"
#include "job/scan.h"
#include "record/clock.h"
#include "record/measuring_job.h"
#include "report/format.h"
#include "rewrite/restore.h"
#include "rewrite/rewrite.h"

namespace forewarm::cli {

namespace {

Error usage(std::string message, std::string hint = {}) {
  return Error{Error::Kind::usage, std::move(message), "", 0, 0, "", std::move(hint)};
}

Status check_options(const CalibrateOptions& o) {
  if (!o.records.empty()) {
    return usage("--make-job makes a job, and reads no RECORD",
                 "print the job, then calibrate by the record of it");
  }
  if (!o.write.empty() || !o.json.empty() || !o.html.empty() || !o.ambient.empty() || o.robust) {
    return usage("--make-job goes with --to-c, --exchanges and --rules alone");
  }
  return success();
}

// Only an earlier such job is replaced.
Status may_replace(const std::string& file) {
  std::error_code none;
  if (is_standard_output(file) || !std::filesystem::is_regular_file(file, none)) return success();
  auto there = io::FileSource::open(file);
  if (!there) return std::move(there.error());
  TextSink beginning;
  const auto length = std::min<std::uint64_t>(there->size(), 256);
  if (auto s = beginning.copy(*there, 0, length); !s) return s;
  const std::string& text = beginning.text();
  const std::size_t second = text.find('\n');
  const bool ours = second != std::string::npos && rewrite::read_header(text.substr(0, second)) &&
                    text.compare(second + 1, std::string_view(record::kMeasuringJobTitle).size(),
                                 record::kMeasuringJobTitle) == 0;
  if (length == 0 || ours) return success();
  Error e = usage("this file is not an earlier measuring job, and would be lost",
                  "name another file, or remove this one first");
  e.file = file;
  return e;
}

Result<double> to_c_of(const std::string& asked, const rules::Rules& rules) {
  if (asked.empty()) return record::usual_to_c(rules);
  std::string_view text = asked;
  const auto value = record::take_number(text);
  if (value && text.empty()) return *value;
  return usage("--to-c is a temperature in C, not " + printable(asked), "such as --to-c 200");
}

Result<job::Job> scanned(const std::string& text, const std::string& name,
                         const rules::Rules& rules) {
  TextSource source(text);
  job::ScanOptions options;
  options.name = name;
  return job::scan(source, rules, options);
}

Result<double> seconds_of(const rules::Rules& rules, const record::MeasuringJob& question,
                          const std::string& name) {
  rules::Rules plain = rules;
  plain.dialect = {};
  auto text = record::measuring_job(plain, question);
  if (!text) return std::move(text.error());
  auto job = scanned(*text, name, plain);
  if (!job) return std::move(job.error());
  auto plan = make_plan(*job, plain, rules::Policy::as_sliced);
  if (!plan) return std::move(plan.error());
  return plan->figures.duration_s;
}

}  // namespace

int make_measuring_job(const Context& context, const CalibrateOptions& options) {
  if (auto s = check_options(options); !s) return context.fail(s.error());
  const std::string name = shown_name(options.make_job);
  Outputs outputs(context, {.job = options.make_job,
                            .shows_text = false,
                            .inputs = {{"the rule file", context.rule_file()}}});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  if (auto s = may_replace(options.make_job); !s) return context.fail(s.error());
  auto rules = context.rules(Guesses::if_asked_for);
  if (!rules) return context.fail(rules.error());
  auto to_c = to_c_of(options.to_c, *rules);
  if (!to_c) return context.fail(to_c.error());

  record::MeasuringJob question{.to_c = *to_c, .exchanges = options.exchanges};
  auto seconds = seconds_of(*rules, question, name);
  if (!seconds) return context.fail(seconds.error());
  question.length = report::duration(*seconds);
  auto text = record::measuring_job(*rules, question);
  if (!text) return context.fail(text.error());
  auto job = scanned(*text, name, *rules);
  if (!job) return context.fail(job.error());

  if (rules->dialect.echo.empty()) {
    context.note(
        fmt::format("echoes are written as {}: [dialect] has no echo", record::kEchoUnlessGiven));
  }
  context.note(fmt::format("heaters up to {:g} C; takes about {}; its first lines say what to mind",
                           question.to_c, question.length));
  if (auto s = outputs.open_job(); !s) return context.fail(s.error());
  TextSource source(*text);
  rewrite::ToSink pieces(source, outputs.job());
  return outputs.finish_job(rewrite::rewrite(source, *job, {}, rules->hash, pieces), nullptr);
}

}  // namespace forewarm::cli
