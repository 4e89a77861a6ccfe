#include <fmt/format.h>

#include <set>

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "plan/lead_time.h"
#include "report/format.h"
#include "rules/load.h"

namespace forewarm::cli {

namespace {

// A rule file with a toolhead for each tool, whose values are guesses.
std::string rules_for(const std::set<int>& tools, const rules::Rules& rules) {
  std::string text =
      "# A rule file begun from a job. Measure the heater values of your machine: these are\n"
      "# cautious guesses. Join the tools that a feeder serves into one toolhead.\n"
      "version = 1\n";
  for (const int t : tools) {
    const rules::Toolhead& pattern = rules.toolheads.front();
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
    const rules::Filament f = rules.filament(t);
    text += fmt::format("\n[[filament]]\ntool = {0}\nname = \"T{0}\"\nstandby_c = {1:g}\n", t,
                        f.standby_c);
  }
  return text;
}

}  // namespace

int run_rules_check(const Context& context, const RulesCheckOptions& options) {
  const auto set = context.settings();
  if (!set) return context.fail(set.error());
  auto rules = rules_in_force(options.file.empty() ? context.named_rules() : options.file,
                              Guesses::where_no_file, *set);
  if (!rules) return context.fail(rules.error());
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
  return print(context, std::move(text));
}

int run_rules_new(const Context& context, const RulesNewOptions& options) {
  const std::string& from = options.from;
  if (from.empty()) return print(context, std::string(rules::built_in_text()));
  auto rules = rules::built_in();
  if (!rules) return context.fail(rules.error());
  auto loaded = load_job(context, from, *rules);
  if (!loaded) return context.fail(loaded.error());
  if (loaded->job.heads.empty()) {
    return context.fail({Error::Kind::refused, "the job heats and selects no tool", from, 0, 0, "",
                         "without --from, a rule file for any job is printed"});
  }
  std::set<int> tools;
  for (const rules::Toolhead& h : loaded->job.heads) tools.insert(h.tools.front());
  return print(context, rules_for(tools, *rules));
}

}  // namespace forewarm::cli
