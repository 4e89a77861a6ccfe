#include "cli/command_line.h"

#include "cli/descriptions.h"

namespace forewarm::cli {

namespace {

// Flags that several commands have.

Flag job_flag(std::string& job) {
  return {.names = "JOB",
          .help = "the job; - is standard input",
          .value = &job,
          .required = true,
          .completes = Completes::file};
}

Flag output_flag(std::string& out) {
  return {.names = "-o,--output",
          .help = "write here instead of in place; - is standard output",
          .value = &out,
          .completes = Completes::file};
}

Flag hard_linked_flag(bool& hard_linked) {
  return {.names = "--allow-hard-linked",
          .help = "replace a file that has other names too",
          .value = &hard_linked};
}

Flag html_flag(std::string& html) {
  return {.names = "--html",
          .help = "write a report page here",
          .value = &html,
          .completes = Completes::file};
}

// `alone`: what standard output leaves out then.
Flag json_flag(std::string& json, const std::string& what, const std::string& alone) {
  return {.names = "--json",
          .help = "write the " + what + " as JSON here; - is standard output" + alone,
          .value = &json,
          .completes = Completes::file};
}

Flag csv_flag(std::string& csv, const std::string& what, const std::string& alone) {
  return {.names = "--csv",
          .help = "write " + what + " as CSV here; - is standard output" + alone,
          .value = &csv,
          .completes = Completes::file};
}

void add_map_flags(std::vector<Flag>& flags, AskedMap& map) {
  flags.push_back(
      {.names = "--map",
       .help = "give the filaments other tools, renumbering the job: best, or such as 0=3,3=0",
       .value = &map.map,
       .argument = "MAP"});
  flags.push_back(
      {.names = "--force-map",
       .help = "with --map: also where only, never or fixed of a [[filament]] says otherwise",
       .value = &map.force});
}

void add_rules_flag(std::vector<Flag>& flags, Common& common) {
  flags.push_back({.names = "--rules",
                   .help = "the rule file, or built-in for guesses; else $FOREWARM_RULES, else "
                           "$XDG_CONFIG_HOME/forewarm/rules.toml",
                   .value = &common.rules_file,
                   .completes = Completes::file});
  flags.push_back({.names = "--set",
                   .help = "PATH=VALUE: this value of the rule file for this run, such as "
                           "gap.off_over_s=900 or toolhead.ash.park_s=8; may be repeated",
                   .value = &common.settings,
                   .argument = "PATH=VALUE",
                   .completes = Completes::rule_value});
}

void add_message_flags(std::vector<Flag>& flags, Common& common) {
  flags.push_back({.names = "--color",
                   .help = "colour of messages and of the timeline: auto, always or never",
                   .value = &common.color,
                   .one_of = {"auto", "always", "never"},
                   .argument = "WHEN"});
  flags.push_back({.names = "--verbose",
                   .help = "also how many lines each pattern of the rule file fits",
                   .value = &common.verbose});
  flags.push_back({.names = "-q,--quiet", .help = "no notes, no progress", .value = &common.quiet});
}

Command rewrite_command(Options& options) {
  RewriteOptions& o = options.rewrite;
  Command out{.name = "rewrite", .help = "plan a job's heating and insert the commands for it"};
  out.flags = {job_flag(o.job),
               output_flag(o.out),
               {.names = "--diff",
                .help = "show the change and write nothing; exit 1 if any",
                .value = &o.diff},
               {.names = "--dry-run", .help = "do everything but write", .value = &o.dry_run},
               {.names = "--check",
                .help = "check the rewrite, as check does, and write the job only if there are no "
                        "findings; exit 1 if there are any",
                .value = &o.check},
               {.names = "--hook",
                .help = "for a slicer's post-process field: rewrite in place, with a report page "
                        "beside the job, if a check of the rewrite finds nothing",
                .value = &o.hook},
               {.names = "--reports",
                .help = "with --hook: the folder for the page, made where it is missing",
                .value = &o.reports,
                .completes = Completes::folder},
               html_flag(o.html),
               json_flag(o.json, "figures", "")};
  add_map_flags(out.flags, o.map);
  out.flags.push_back(hard_linked_flag(o.hard_linked));
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kRewrite;
  out.example = "forewarm rewrite --rules machine.toml --html report.html job.gcode";
  out.cautions = true;
  out.run = [&o](const Context& context) { return run_rewrite(context, o); };
  return out;
}

Command forecast_command(Options& options) {
  ForecastOptions& o = options.forecast;
  Command out{.name = "forecast", .help = "a job's time, changes, waits, exposure and material"};
  out.flags = {job_flag(o.job), json_flag(o.json, "figures", ", without the table"),
               html_flag(o.html),
               csv_flag(o.csv, "every change with its time", ", without the table")};
  out.flags.push_back({.names = "--sheet",
                       .help = "show the load sheet: what to load, how much of it, and until when "
                               "it is enough",
                       .value = &o.sheet});
  add_map_flags(out.flags, o.map);
  out.flags.push_back({.names = "--start",
                       .help = "when the job is to begin, such as 2027-03-05T18:00: clock times, "
                               "without time zones or daylight-saving time",
                       .value = &o.start,
                       .argument = "TIME"});
  out.flags.push_back(
      {.names = "--away",
       .help = "hours in which nobody is at the machine, such as 22:00-07:00; may be repeated; in "
               "place of the rule file's",
       .value = &o.away,
       .argument = "HOURS"});
  out.flags.push_back({.names = "--ics",
                       .help = "with --start: write what a calendar should hold of the job here, "
                               "as iCalendar; - is standard output, without the table",
                       .value = &o.ics,
                       .completes = Completes::file});
  out.flags.push_back({.names = "--done-by",
                       .help = "a time, as --start has it: how likely is it that the job is done",
                       .value = &o.done_by,
                       .argument = "TIME"});
  out.flags.push_back({.names = "--within",
                       .help = "try starts for so many hours after --start, every 15 minutes; 24 "
                               "if it is not given",
                       .value = &o.within_h,
                       .least = 1,
                       .most = kMaxWithinH,
                       .argument = "HOURS"});
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kForecast;
  out.example =
      "forewarm forecast --rules machine.toml --start 2027-03-05T18:00 --away 22:00-07:00 "
      "job.gcode";
  out.run = [&o](const Context& context) { return run_forecast(context, o); };
  return out;
}

Command compare_command(Options& options) {
  CompareOptions& o = options.compare;
  Command out{.name = "compare",
              .help = "a job under several policies, thresholds or rule files, side by side"};
  out.flags = {job_flag(o.job),
               {.names = "--sweep",
                .help = "KEY=FROM:TO:STEP or KEY=VALUE: a number of [gap], tried at these values "
                        "as well; may be repeated",
                .value = &o.sweeps,
                .argument = "KEY=VALUES",
                .completes = Completes::gap_number},
               json_flag(o.json, "figures", ", without the table"),
               html_flag(o.html),
               csv_flag(o.csv, "the figures", ", without the table"),
               {.names = "--rules",
                .help = "a rule file, or built-in for guesses; repeated: the job by each of them, "
                        "side by side",
                .value = &o.rules,
                .argument = "FILE",
                .completes = Completes::file},
               {.names = "--set",
                .help = "PATH=VALUE: the job as the rule file is and with this value, side by "
                        "side, such as toolhead.birch.exchange_s=20; may be repeated",
                .value = &o.settings,
                .argument = "PATH=VALUE",
                .completes = Completes::rule_value}};
  out.about = descriptions::kCompare;
  out.example = "forewarm compare --rules machine.toml --sweep timer_off_s=600:3600:600 job.gcode";
  out.run = [&o](const Context& context) { return run_compare(context, o); };
  return out;
}

Command assign_command(Options& options) {
  AssignOptions& o = options.assign;
  Command out{.name = "assign", .help = "which filament belongs on which tool, provably best"};
  out.flags = {
      job_flag(o.job),
      {.names = "--by",
       .help =
           "what changes should take the least of: time or purge; purge with a matrix, else time",
       .value = &o.by,
       .one_of = {"time", "purge"},
       .argument = "WHAT"},
      {.names = "--matrix",
       .help = "a table (CSV) of what an exchange of each filament for each other purges",
       .value = &o.matrix,
       .completes = Completes::file},
      json_flag(o.json, "figures", ", without the table")};
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kAssign;
  out.example = "forewarm assign --rules machine.toml --matrix purge.csv job.gcode";
  out.run = [&o](const Context& context) { return run_assign(context, o); };
  return out;
}

Command check_command(Options& options) {
  CheckOptions& o = options.check;
  Command out{.name = "check",
              .help = "replay a rewritten job beside its original; exit 1 if anything is found"};
  out.flags = {{.names = "ORIGINAL",
                .help = "the job before; without REWRITTEN, the rewritten job alone",
                .value = &o.first,
                .completes = Completes::file},
               {.names = "REWRITTEN",
                .help = "the job after",
                .value = &o.second,
                .completes = Completes::file},
               json_flag(o.json, "findings", ", alone"),
               {.names = "--explain",
                .help = "the same as explain ID; all: what every finding means",
                .value = &o.explain,
                .argument = "ID",
                .completes = Completes::finding}};
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kCheck;
  out.example = "forewarm check --rules machine.toml job.gcode rewritten.gcode";
  out.cautions = true;
  out.run = [&o](const Context& context) { return run_check(context, o); };
  return out;
}

Command calibrate_command(Options& options) {
  CalibrateOptions& o = options.calibrate;
  Command out{.name = "calibrate",
              .help = "heater constants from what a machine recorded: measured, not guessed"};
  out.flags = {
      {.names = "RECORD",
       .help = "records: CSV of temperatures, or a host's text log; - is standard input",
       .value = &o.records,
       .completes = Completes::file},
      {.names = "--ambient",
       .help = "the room's temperature: fit, or a number in C; else ambient_c of the rule file",
       .value = &o.ambient,
       .argument = "C"},
      {.names = "--robust",
       .help = "give readings that are far off less weight",
       .value = &o.robust},
      {.names = "--write",
       .help = "change the keys in this rule file, and leave all else of it as it is",
       .value = &o.write,
       .completes = Completes::file},
      {.names = "--make-job",
       .help = "write a job that makes such a record of the machine of the rule file; it "
               "moves no filament",
       .value = &o.make_job,
       .completes = Completes::file},
      {.names = "--to-c",
       .help = "with --make-job: up to this temperature; else 200, or 20 below the lowest "
               "max_c",
       .value = &o.to_c,
       .argument = "C"},
      {.names = "--exchanges",
       .help = "with --make-job: have feeders exchange their filaments, too",
       .value = &o.exchanges},
      json_flag(o.json, "figures", ", without the table"),
      html_flag(o.html)};
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kCalibrate;
  out.example = "forewarm calibrate --rules machine.toml --ambient fit heat-up.csv";
  out.run = [&o](const Context& context) { return run_calibrate(context, o); };
  return out;
}

Command review_command(Options& options) {
  ReviewOptions& o = options.review;
  Command out{
      .name = "review",
      .help = "what happened in prints of a job, against what was planned, and what to change"};
  out.flags = {{.names = "JOB",
                .help = "the rewritten job, as it was printed",
                .value = &o.job,
                .required = true,
                .completes = Completes::file},
               {.names = "RECORD",
                .help = "records of its prints: the host's text logs",
                .value = &o.records,
                .required = true,
                .completes = Completes::file},
               {.names = "--write",
                .help = "change what is certain in this rule file, and keep the old one beside it",
                .value = &o.write,
                .completes = Completes::file},
               json_flag(o.json, "figures", ", without the text"),
               html_flag(o.html),
               csv_flag(o.csv, "every change", ", without the text")};
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kReview;
  out.example = "forewarm review --write machine.toml job.gcode host.log";
  out.run = [&o](const Context& context) { return run_review(context, o); };
  return out;
}

Command batch_command(Options& options) {
  BatchOptions& o = options.batch;
  Command out{.name = "batch", .help = "rewrite many jobs into a folder, in parallel, resumable"};
  out.flags = {{.names = "JOB",
                .help = "the jobs; none is changed",
                .value = &o.jobs,
                .completes = Completes::file},
               {.names = "-o,--output",
                .help = "the folder for what they become, each under its own name; made if missing",
                .value = &o.folder,
                .required = true,
                .completes = Completes::folder},
               {.names = "--files0-from",
                .help = "read the jobs' names from here, each ended by a NUL; - is standard input",
                .value = &o.files0_from,
                .completes = Completes::file},
               {.names = "--jobs",
                .help = "how many at a time; else as many as processors",
                .value = &o.threads,
                .least = 1,
                .most = kMaxThreads},
               {.names = "--shard",
                .help = "K/N: only the K-th part of N of the jobs, for one of N machines",
                .value = &o.shard,
                .argument = "K/N"}};
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kBatch;
  out.example = "forewarm batch --rules machine.toml -o ready jobs/*.gcode";
  out.cautions = true;
  out.run = [&o](const Context& context) { return run_batch(context, o); };
  return out;
}

Command diff_command(Options& options) {
  DiffOptions& o = options.diff;
  Command out{.name = "diff", .help = "unified diff of two jobs; exit 1 if they differ"};
  out.flags = {{.names = "ORIGINAL",
                .help = "the job before",
                .value = &o.original,
                .required = true,
                .completes = Completes::file},
               {.names = "REWRITTEN",
                .help = "the job after",
                .value = &o.rewritten,
                .required = true,
                .completes = Completes::file},
               {.names = "--stat",
                .help = "count the lines that are inserted and removed, by reason, instead",
                .value = &o.stat},
               {.names = "--gap",
                .help = "only what is done in the N-th gap, as forecast counts them",
                .value = &o.gap,
                .argument = "N"},
               {.names = "--change",
                .help = "only the surroundings of the N-th change of tool, as forecast counts them",
                .value = &o.change,
                .argument = "N"}};
  add_rules_flag(out.flags, options.common);
  out.about = descriptions::kDiff;
  out.example = "forewarm diff --rules machine.toml --change 12 job.gcode rewritten.gcode";
  out.run = [&o](const Context& context) { return run_diff(context, o); };
  return out;
}

Command restore_command(Options& options) {
  RestoreOptions& o = options.restore;
  Command out{.name = "restore", .help = "the original of a rewritten job"};
  out.flags = {{.names = "REWRITTEN",
                .help = "the rewritten job; - is standard input",
                .value = &o.job,
                .required = true,
                .completes = Completes::file},
               output_flag(o.out),
               hard_linked_flag(o.hard_linked)};
  out.about = descriptions::kRestore;
  out.example = "forewarm restore rewritten.gcode -o job.gcode";
  out.run = [&o](const Context& context) { return run_restore(context, o); };
  return out;
}

Command rules_command(Options& options) {
  RulesCheckOptions& check = options.rules_check;
  Command of_check{
      .name = "check",
      .help = "validate a rule file, and show what is in force and where it comes from"};
  of_check.flags = {{.names = "FILE",
                     .help = "the rule file; without it, the one in force",
                     .value = &check.file,
                     .completes = Completes::file},
                    {.names = "--job",
                     .help = "count the lines of this job that each pattern fits",
                     .value = &check.job,
                     .completes = Completes::file}};
  add_rules_flag(of_check.flags, options.common);
  of_check.about = descriptions::kRulesCheck;
  of_check.example = "forewarm rules check machine.toml";
  of_check.run = [&check](const Context& context) { return run_rules_check(context, check); };

  RulesNewOptions& fresh = options.rules_new;
  Command of_new{.name = "new", .help = "print a rule file to start from"};
  of_new.flags = {{.names = "--from",
                   .help = "a job; what it shows of the machine goes into the file",
                   .value = &fresh.from,
                   .completes = Completes::file},
                  {.names = "--ask",
                   .help = "ask the ten questions that matter; an empty answer is the default",
                   .value = &fresh.ask},
                  {.names = "--answers",
                   .help = "a file (TOML) with answers to these; the others are the defaults",
                   .value = &fresh.answers,
                   .completes = Completes::file}};
  of_new.about = descriptions::kRulesNew;
  of_new.example = "forewarm rules new --from job.gcode > machine.toml";
  of_new.run = [&fresh](const Context& context) { return run_rules_new(context, fresh); };

  Command of_schema{.name = "schema",
                    .help = "print a JSON Schema of rule files, for editors and validators"};
  of_schema.about = descriptions::kRulesSchema;
  of_schema.example = "forewarm rules schema > forewarm-rules.schema.json";
  of_schema.run = [](const Context& context) { return run_rules_schema(context); };

  Command out{.name = "rules", .help = "start, validate or describe a rule file"};
  out.commands = {std::move(of_check), std::move(of_new), std::move(of_schema)};
  out.about = descriptions::kRules;
  out.example = "forewarm rules new > machine.toml";
  return out;
}

Command explain_command(Options& options) {
  ExplainOptions& o = options.explain;
  Command out{
      .name = "explain",
      .help = "what a key of a rule file, a finding, a word of a report or an exit code means"};
  out.flags = {{.names = "WORD",
                .help = "such as off_over_s, toolhead.park_s, move-added, hot idle or 3",
                .value = &o.words,
                .completes = Completes::word},
               {.names = "--list", .help = "list all that is explained", .value = &o.list}};
  out.about = descriptions::kExplain;
  out.example = "forewarm explain hot idle";
  out.run = [&o](const Context& context) { return run_explain(context, o); };
  return out;
}

Command help_command(Options& options) {
  HelpOptions& o = options.help;
  Command out{.name = "help", .help = "the page of the manual on a command"};
  out.flags = {{.names = "COMMAND",
                .help = "the command; without it, the program as a whole",
                .value = &o.command,
                .completes = Completes::command}};
  out.example = "forewarm help rewrite";
  out.run = [&o](const Context& context) { return run_help(context, o); };
  return out;
}

void add_message_flags(Command& command, Common& common) {
  if (command.run) add_message_flags(command.flags, common);
  for (Command& of_it : command.commands) add_message_flags(of_it, common);
}

}  // namespace

const std::string_view kHeaterCautions =
    "Hot ends burn, and heaters left alone can start fires. Keep the machine's thermal-runaway\n"
    "protection on, have a smoke alarm, and leave nothing unattended until it is proven. The\n"
    "machine's manual and local codes come first.";

Command command_line(Options& options) {
  Command out{.name = "forewarm"};
  out.help =
      "Reads a sliced job for a printer with several toolheads, works out when everything in it\n"
      "will happen, and writes early preheats, standby and shutdown into it, reversibly.";
  out.commands = {rewrite_command(options), forecast_command(options), compare_command(options),
                  assign_command(options),  check_command(options),    calibrate_command(options),
                  review_command(options),  batch_command(options),    diff_command(options),
                  restore_command(options), rules_command(options),    explain_command(options),
                  help_command(options)};
  add_message_flags(out, options.common);
  out.about = descriptions::kProgram;
  out.example = "forewarm rewrite --rules machine.toml job.gcode";
  out.cautions = true;
  return out;
}

std::string footer(const Command& command, const std::string& path) {
  std::string out = "Example: " + command.example;
  out += "\nMore: forewarm help" + (path.empty() ? "" : " " + path);
  if (command.cautions) out += "\n\n" + std::string(kHeaterCautions);
  return out;
}

std::vector<std::string> Flag::all_names() const {
  std::vector<std::string> out;
  for (std::size_t at = 0; at != std::string::npos;) {
    const std::size_t end = names.find(',', at);
    out.push_back(names.substr(at, end == std::string::npos ? end : end - at));
    at = end == std::string::npos ? end : end + 1;
  }
  return out;
}

std::string Flag::argument_name() const {
  if (!argument.empty()) return argument;
  if (positional()) return names;
  if (std::holds_alternative<unsigned*>(value)) return "N";
  return completes == Completes::folder ? "FOLDER" : "FILE";
}

}  // namespace forewarm::cli
