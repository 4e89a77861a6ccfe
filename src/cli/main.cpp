#include <fcntl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <exception>
#include <sstream>

#include "cli/commands.h"
#include "cli/context.h"
#include "io/cleanup.h"
#include "io/large_pages.h"

namespace {

using namespace forewarm::cli;

constexpr const char* kCautions =
    "Hot ends burn, and heaters left alone can start fires. Keep the machine's thermal-runaway\n"
    "protection on, have a smoke alarm, and leave nothing unattended until it is proven. The\n"
    "machine's manual and local codes come first.";

// A standard descriptor that was closed would be taken by the first file opened, and a job
// overwritten by a message: fill the gaps with something that cannot be written to.
void fill_standard_descriptors() {
  for (int fd = 0; fd <= 2; ++fd) {
    if (fcntl(fd, F_GETFD) == -1) (void)open("/dev/null", fd == 0 ? O_WRONLY : O_RDONLY);
  }
}

int run(int argc, char** argv) {
  Common common;
  RewriteOptions rewrite;
  ForecastOptions forecast;
  CompareOptions compare;
  AssignOptions assign;
  BatchOptions batch;
  RestoreOptions restore;
  CheckOptions check;
  std::string diff_original;
  std::string diff_rewritten;
  std::string rules_file;
  std::string rules_from;

  CLI::App app{
      "Reads a sliced job for a printer with several toolheads, works out when everything in it\n"
      "will happen, and writes early preheats, standby and shutdown into it, reversibly.",
      "forewarm"};
  app.footer(std::string("Example: forewarm rewrite --rules machine.toml job.gcode\n\n") +
             kCautions);
  app.set_version_flag("--version", std::string("forewarm ") + FOREWARM_VERSION);
  app.require_subcommand(1);
  app.get_formatter()->column_width(34);

  const auto shared = [&](CLI::App* command, bool with_rules) {
    if (with_rules) {
      command->add_option("--rules", common.rules_file,
                          "rule file, or built-in for guesses; else $FOREWARM_RULES, else "
                          "$XDG_CONFIG_HOME/forewarm/rules.toml");
    }
    command->add_option("--color", common.color, "colour of messages: auto, always or never")
        ->check(CLI::IsMember({"auto", "always", "never"}));
    command->add_flag("-q,--quiet", common.quiet, "no notes, no progress");
  };

  CLI::App* c_rewrite = app.add_subcommand("rewrite", "plan a job's heating and write it in");
  c_rewrite->add_option("JOB", rewrite.job, "the job; - is standard input")->required();
  c_rewrite->add_option("-o,--output", rewrite.out,
                        "write here instead of in place; - is standard output");
  c_rewrite->add_flag("--diff", rewrite.diff, "show the change and write nothing; exit 1 if any");
  c_rewrite->add_flag("--dry-run", rewrite.dry_run, "do everything but write");
  c_rewrite->add_option("--html", rewrite.html, "write a report page here");
  c_rewrite->add_option("--json", rewrite.json, "write the figures as JSON here; - is stdout");
  const std::string map_help =
      "best, or such as 0=3,3=0: give the filaments other tools, renumbering the job";
  const std::string force_help =
      "with --map: also where only, never or fixed of a [[filament]] says otherwise";
  c_rewrite->add_option("--map", rewrite.map.map, map_help);
  c_rewrite->add_flag("--force-map", rewrite.map.force, force_help);
  c_rewrite->add_flag("--allow-hard-linked", rewrite.hard_linked,
                      "replace a file that has other names too");
  shared(c_rewrite, true);
  c_rewrite->footer(std::string("Example: forewarm rewrite --rules machine.toml --html "
                                "report.html job.gcode\n\n") +
                    kCautions);

  CLI::App* c_forecast =
      app.add_subcommand("forecast", "a job's time, changes, waits, exposure and material");
  c_forecast->add_option("JOB", forecast.job, "the job; - is standard input")->required();
  c_forecast->add_option("--json", forecast.json,
                         "write the figures as JSON here; - is stdout, without the table");
  c_forecast->add_option("--html", forecast.html, "write a report page here");
  c_forecast->add_option("--csv", forecast.csv,
                         "write every change with its time as CSV here; - is stdout, without the "
                         "table");
  c_forecast->add_option("--map", forecast.map.map, map_help);
  c_forecast->add_flag("--force-map", forecast.map.force, force_help);
  c_forecast->add_option("--start", forecast.start,
                         "when the job is to begin, such as 2027-03-05T18:00: clock times, without "
                         "time zones or daylight-saving time");
  c_forecast
      ->add_option("--away", forecast.away,
                   "hours in which nobody is there, such as 22:00-07:00; may be repeated")
      ->expected(1)
      ->take_all();
  shared(c_forecast, true);
  c_forecast->footer(
      "Example: forewarm forecast --rules machine.toml --start 2027-03-05T18:00 "
      "--away 22:00-07:00 job.gcode");

  CLI::App* c_compare =
      app.add_subcommand("compare", "a job under several policies and thresholds, side by side");
  c_compare->add_option("JOB", compare.job, "the job; - is standard input")->required();
  c_compare
      ->add_option("--sweep", compare.sweeps,
                   "KEY=FROM:TO:STEP or KEY=VALUE: a number of [gap], tried at these values as "
                   "well; may be repeated")
      ->expected(1)
      ->take_all();
  c_compare->add_option("--json", compare.json,
                        "write the figures as JSON here; - is stdout, without the table");
  c_compare->add_option("--csv", compare.csv,
                        "write the figures as CSV here; - is stdout, without the table");
  shared(c_compare, true);
  c_compare->footer(
      "Example: forewarm compare --rules machine.toml --sweep "
      "timer_off_s=600:3600:600 job.gcode");
  CLI::App* c_assign =
      app.add_subcommand("assign", "which filament belongs on which tool, provably best");
  c_assign->add_option("JOB", assign.job, "the job; - is standard input")->required();
  c_assign
      ->add_option(
          "--by", assign.by,
          "what changes shall take least of: time or purge; purge with a matrix, else time")
      ->check(CLI::IsMember({"time", "purge"}));
  c_assign->add_option("--matrix", assign.matrix,
                       "a table (CSV) of what an exchange of each filament for each other purges");
  c_assign->add_option("--json", assign.json,
                       "write the figures as JSON here; - is stdout, without the table");
  shared(c_assign, true);
  c_assign->footer(
      "The table's first row names the filaments that come in, its first column those that go\n"
      "out, by T number or name; its first cell is the unit, g or mm3.\n\n"
      "Example: forewarm assign --rules machine.toml --matrix purge.csv job.gcode");

  CLI::App* c_check = app.add_subcommand(
      "check", "replay a rewritten job beside its original; exit 1 if anything is found");
  c_check->add_option("ORIGINAL", check.first,
                      "the job before; without REWRITTEN, the rewritten job alone");
  c_check->add_option("REWRITTEN", check.second, "the job after");
  c_check->add_option("--json", check.json, "write the findings as JSON here; - is stdout, alone");
  c_check->add_option("--explain", check.explain, "say what a finding's id means, or \"all\"");
  shared(c_check, true);
  c_check->footer(std::string("Example: forewarm check --rules machine.toml job.gcode "
                              "rewritten.gcode\n\n") +
                  kCautions);

  CLI::App* c_batch =
      app.add_subcommand("batch", "rewrite many jobs into a folder, in parallel, resumable");
  c_batch->add_option("JOB", batch.jobs, "the jobs; none is changed");
  c_batch
      ->add_option("-o,--output", batch.folder,
                   "the folder for what they become, each under its own name; made if missing")
      ->required();
  c_batch->add_option("--files0-from", batch.files0_from,
                      "read the jobs' names from here, each ended by a NUL; - is standard input");
  c_batch->add_option("--jobs", batch.threads, "how many at a time; else as many as processors")
      ->check(CLI::Range(1U, kMaxThreads));
  c_batch->add_option("--shard", batch.shard,
                      "K/N: only the K-th part of N of the jobs, for one of N machines");
  shared(c_batch, true);
  c_batch->footer(
      std::string("Run it again after a kill, or after jobs were changed: what is "
                  "good already is kept.\n\n"
                  "Example: forewarm batch --rules machine.toml -o ready jobs/*.gcode\n\n") +
      kCautions);

  CLI::App* c_diff = app.add_subcommand("diff", "unified diff of two jobs; exit 1 if they differ");
  c_diff->add_option("ORIGINAL", diff_original, "the job before")->required();
  c_diff->add_option("REWRITTEN", diff_rewritten, "the job after")->required();
  shared(c_diff, false);
  c_diff->footer("Example: forewarm diff job.gcode rewritten.gcode | less");

  CLI::App* c_restore = app.add_subcommand("restore", "the original of a rewritten job");
  c_restore->add_option("REWRITTEN", restore.job, "the rewritten job; - is standard input")
      ->required();
  c_restore->add_option("-o,--output", restore.out,
                        "write here instead of in place; - is standard output");
  c_restore->add_flag("--allow-hard-linked", restore.hard_linked,
                      "replace a file that has other names too");
  shared(c_restore, false);
  c_restore->footer("Example: forewarm restore rewritten.gcode -o job.gcode");

  CLI::App* c_rules = app.add_subcommand("rules", "start or validate a rule file");
  c_rules->require_subcommand(1);
  c_rules->footer("Example: forewarm rules new > machine.toml");
  CLI::App* c_rules_check = c_rules->add_subcommand("check", "validate a rule file");
  c_rules_check->add_option("FILE", rules_file, "the rule file; without it, the one in force");
  shared(c_rules_check, true);
  c_rules_check->footer("Example: forewarm rules check machine.toml");
  CLI::App* c_rules_new = c_rules->add_subcommand("new", "print a rule file to start from");
  c_rules_new->add_option("--from", rules_from, "a job whose tools it shall have");
  shared(c_rules_new, false);
  c_rules_new->footer("Example: forewarm rules new --from job.gcode > machine.toml");

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) {
      std::ostringstream text;
      (void)app.exit(error, text, text);
      Output output;
      return output.finish(Context(common), output.sink().write(text.str()));
    }
    return Context(common).fail({forewarm::Error::Kind::usage,
                                 error.what(),
                                 "",
                                 {},
                                 {},
                                 "",
                                 "forewarm --help, or --help after a command"});
  }

  const Context context(common);
  if (c_rewrite->parsed()) return run_rewrite(context, rewrite);
  if (c_forecast->parsed()) return run_forecast(context, forecast);
  if (c_compare->parsed()) return run_compare(context, compare);
  if (c_assign->parsed()) return run_assign(context, assign);
  if (c_check->parsed()) return run_check(context, check);
  if (c_batch->parsed()) {
    batch.version = FOREWARM_VERSION;
    return run_batch(context, batch);
  }
  if (c_diff->parsed()) return run_diff(context, diff_original, diff_rewritten);
  if (c_restore->parsed()) return run_restore(context, restore);
  if (c_rules_check->parsed()) {
    return run_rules_check(context, rules_file.empty() ? common.rules_file : rules_file);
  }
  return run_rules_new(context, rules_from);
}

}  // namespace

int main(int argc, char** argv) {
  forewarm::io::use_large_pages();
  fill_standard_descriptors();
  forewarm::io::install_signal_cleanup();
  forewarm::io::ignore_write_signals();
  try {
    return run(argc, argv);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "forewarm: a bug, or no memory left; the job is untouched: %s\n",
                 error.what());
    return kBug;
  }
}
