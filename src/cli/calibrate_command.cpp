#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/measuring_job.h"
#include "cli/outputs.h"
#include "cli/records.h"
#include "cli/rule_edit.h"
#include "record/clock.h"
#include "report/calibration.h"

namespace forewarm::cli {

namespace {

// Nothing: ambient is to be fitted.
Result<std::optional<double>> ambient_of(const std::string& asked, const rules::Rules& rules) {
  if (asked.empty()) return std::optional(rules.machine.ambient_c);
  if (asked == "fit") return std::optional<double>();
  std::string_view text = asked;
  const auto value = record::take_number(text);
  if (value && text.empty() && *value >= -50 && *value <= 150) return value;
  Error e{Error::Kind::usage, "--ambient is fit, or a temperature in C, not " + printable(asked)};
  e.hint = "such as --ambient 24.5";
  return e;
}

// What --write puts in place.
Result<std::vector<rules::Setting>> settings_of(const std::vector<record::Calibration>& heaters,
                                                const rules::Rules& rules, bool ambient) {
  std::vector<rules::Setting> out;
  double sum = 0, weight = 0;
  std::size_t told = 0;
  for (const record::Calibration& c : heaters) told += c.refused.empty() ? 1U : 0U;
  for (const record::Calibration& c : heaters) {
    if (!c.refused.empty()) continue;
    std::optional<std::size_t> head = c.heater.head;
    // The pattern of all toolheads, where there is one: then there is one heater to speak for it.
    if (!head && rules.toolheads.size() == 1 && told == 1) head = 0;
    if (!head) {
      return Error{Error::Kind::refused, "no toolhead of the rule file has the heater " +
                                             printable(c.heater.name) + " of the record"};
    }
    for (const report::KeyValue& v : report::heater_values(c, rules)) {
      out.push_back({"toolhead." + rules.toolheads[*head].name + ".heater." + v.key, v.value});
    }
    if (std::isfinite(c.ambient_c.sd) && c.ambient_c.sd > 0) {
      const double w = 1 / (c.ambient_c.sd * c.ambient_c.sd);
      sum += w * c.ambient_c.value;
      weight += w;
    }
  }
  if (out.empty()) {
    return Error{Error::Kind::refused, "nothing can be told of any heater, so nothing is written"};
  }
  if (ambient && weight > 0) {
    out.push_back({"machine.ambient_c", report::value_text({sum / weight, 1 / std::sqrt(weight)})});
  }
  return out;
}

}  // namespace

int run_calibrate(const Context& context, const CalibrateOptions& options) {
  if (!options.make_job.empty()) return make_measuring_job(context, options);
  if (!options.to_c.empty() || options.exchanges) {
    return context.fail(
        {Error::Kind::usage, "--to-c and --exchanges say what job --make-job is to write"});
  }
  if (options.records.empty()) {
    return context.fail({Error::Kind::usage, "RECORD is required", "", 0, 0, "",
                         "or --make-job FILE, which writes a job that makes one"});
  }
  std::vector<NamedFile> inputs;
  for (const std::string& path : options.records) inputs.push_back({"the record", path});
  inputs.push_back({"the rule file", context.rule_file()});
  inputs.push_back({"the rule file", options.write});
  Outputs outputs(context,
                  {.html = options.html, .json = options.json, .inputs = std::move(inputs)});
  if (auto s = outputs.check(); !s) return context.fail(s.error());
  if (!options.write.empty() && !context.named_rules().empty() &&
      !same_file(options.write, context.named_rules())) {
    return context.fail({Error::Kind::usage, "--write and --rules name two rule files", "", 0, 0,
                         "", "the one that is written is the one in force: leave --rules out"});
  }
  auto rules = context.rules(Guesses::where_no_file, options.write);
  if (!rules) return context.fail(rules.error());
  auto ambient = ambient_of(options.ambient, *rules);
  if (!ambient) return context.fail(ambient.error());

  std::vector<report::CalibratedRecord> records;
  std::vector<record::HeaterStretches> stretches;
  for (const std::string& path : options.records) {
    record::StretchFinder finder(*rules);
    auto record = read_record(context, path, *rules, finder);
    if (!record) return context.fail(record.error());
    records.push_back(std::move(*record));
    add_stretches(stretches, finder.take());
  }
  const auto heaters =
      record::calibrate(stretches, {.ambient_c = *ambient, .robust = options.robust});
  const bool any = std::any_of(heaters.begin(), heaters.end(),
                               [](const record::Calibration& c) { return c.refused.empty(); });
  if (!any) {
    std::string why = heaters.empty() ? "the record has no heater's temperatures" : "";
    for (const record::Calibration& c : heaters) {
      why += (why.empty() ? "" : "\n  ") + printable(c.heater.name) + ": " + c.refused;
    }
    return context.fail({Error::Kind::refused, why, records.front().path});
  }
  std::vector<rules::Setting> settings;
  if (!options.write.empty()) {
    auto found = settings_of(heaters, *rules, !*ambient);
    if (!found) return context.fail(found.error());
    settings = std::move(*found);
  }
  const int code = outputs.finish(
      {.text = report::calibration_text(records, heaters, *rules, context.text_width()),
       .json = report::calibration_json(heaters, *rules),
       .html = options.html.empty() ? "" : report::calibration_html(records, heaters, *rules)});
  if (code != kDone || options.write.empty()) return code;
  if (auto s = edit_rule_file(context, options.write, settings); !s) {
    return context.fail(s.error());
  }
  return code;
}

}  // namespace forewarm::cli
