// The commands and their options. Each returns the exit code. command_line.h describes the flags.
#pragma once

#include <string>
#include <vector>

#include "cli/context.h"

namespace forewarm::cli {

struct AskedMap {
  std::string map;     // "best", or such as "0=3,3=0"; empty: filaments stay where they are
  bool force = false;  // even against `only`, `never` or `fixed` of a filament
};

// `reports`: the folder of a hook's page; empty: beside the job. `version`: of the program, for
// pages.
struct RewriteOptions {
  std::string job, out, html, json, reports, version;
  AskedMap map;
  bool hook = false, check = false, diff = false, dry_run = false, hard_linked = false;
};
int run_rewrite(const Context& context, const RewriteOptions& options);

constexpr unsigned kMaxWithinH = 168;  // a week
struct ForecastOptions {
  std::string job, html, json, csv, ics, version;
  AskedMap map;
  std::string start;              // when the job is to begin; empty: there are no clock times
  std::vector<std::string> away;  // hours in which nobody is at the machine; none: the rule file's
  std::string done_by;            // empty: not asked for
  unsigned within_h = 0;          // of the starts that are tried; 0: a day
  bool sheet = false;             // show what to load, in place of the forecast
};
int run_forecast(const Context& context, const ForecastOptions& options);

struct CompareOptions {
  std::string job, json, html, csv;
  std::vector<std::string> sweeps;
  std::vector<std::string> rules;     // rule files; none: the one in force
  std::vector<std::string> settings;  // each tried in place of the rule files' value
};
int run_compare(const Context& context, const CompareOptions& options);
// `by`: "time", "purge", or empty: purge where there is a matrix, else time.
struct AssignOptions {
  std::string job, by, matrix, json;
};
int run_assign(const Context& context, const AssignOptions& options);

struct RestoreOptions {
  std::string job, out;
  bool hard_linked = false;
};
int run_restore(const Context& context, const RestoreOptions& options);

// `ambient`: "fit", a temperature, or empty: the rule file's. `write`: a rule file, or empty.
// `make_job`: a job to be written in place of all that, with `to_c`, or empty, and `exchanges`.
struct CalibrateOptions {
  std::vector<std::string> records;
  std::string json, html, ambient, write, make_job, to_c;
  bool robust = false, exchanges = false;
};
int run_calibrate(const Context& context, const CalibrateOptions& options);

// `write`: a rule file, or empty.
struct ReviewOptions {
  std::string job;
  std::vector<std::string> records;
  std::string json, html, csv, write;
};
int run_review(const Context& context, const ReviewOptions& options);

// With `second` empty, `first` is the rewritten job. `explain`: what `explain` is asked, or "all".
struct CheckOptions {
  std::string first, second, json, explain;
};
int run_check(const Context& context, const CheckOptions& options);

// `threads`: 0 is as many as the machine has. `shard`: "K/N" or empty.
struct BatchOptions {
  std::vector<std::string> jobs;
  std::string folder, files0_from, shard, version;
  unsigned threads = 0;
};
// More would leave no room in the table of files that a signal removes (io/cleanup.h).
constexpr unsigned kMaxThreads = 64;
int run_batch(const Context& context, const BatchOptions& options);

// `gap`, `change`: the number of the one to show, as it was given, or empty.
struct DiffOptions {
  std::string original, rewritten, gap, change;
  bool stat = false;
};
int run_diff(const Context& context, const DiffOptions& options);

// `file`: as --rules would name it; empty: the one in force.
// `job`: whose lines its patterns are counted in, or empty.
struct RulesCheckOptions {
  std::string file, job;
};
int run_rules_check(const Context& context, const RulesCheckOptions& options);

// `from`: a job, or empty. `ask`: on the terminal. `answers`: a file of them, or empty.
struct RulesNewOptions {
  std::string from, answers;
  bool ask = false;
};
int run_rules_new(const Context& context, const RulesNewOptions& options);

int run_rules_schema(const Context& context);
// Several words are one: "hot idle".
struct ExplainOptions {
  std::vector<std::string> words;
  bool list = false;
};
int run_explain(const Context& context, const ExplainOptions& options);

// `command`: the words that lead to it; none: the program.
struct HelpOptions {
  std::vector<std::string> command;
};
int run_help(const Context& context, const HelpOptions& options);

}  // namespace forewarm::cli
