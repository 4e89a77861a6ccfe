// Every command and every flag of the program, described once, as values.
//
// The parser and the short help are made from them (main.cpp), and so are the manual (manual.h) and
// what shells complete (completions.h). Each flag points to the option that it sets, so the Options
// must outlive the description.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "cli/commands.h"

namespace forewarm::cli {

// The options of all commands.
struct Options {
  Common common;
  RewriteOptions rewrite;
  ForecastOptions forecast;
  CompareOptions compare;
  AssignOptions assign;
  CheckOptions check;
  CalibrateOptions calibrate;
  ReviewOptions review;
  BatchOptions batch;
  DiffOptions diff;
  RestoreOptions restore;
  RulesCheckOptions rules_check;
  RulesNewOptions rules_new;
  ExplainOptions explain;
  HelpOptions help;
};

// What a shell can offer for the value of a flag.
enum class Completes {
  nothing,
  file,
  folder,
  gap_number,  // KEY=..., KEY a number of [gap]
  rule_value,  // PATH=..., PATH a key of a rule file
  finding,     // the id of a finding
  word,        // whatever `explain` explains
  command,     // the name of a command
};

struct Flag {
  using Value = std::variant<std::string*, bool*, unsigned*, std::vector<std::string>*>;

  std::string names;  // "-o,--output"; "JOB" for a positional argument
  std::string help;
  Value value;  // several strings: a flag that may be repeated, or all positional arguments
  bool required = false;
  std::vector<std::string> one_of = {};  // of a string; empty: any
  unsigned least = 0, most = 0;          // of a number
  std::string argument = {};             // what stands for the value in a text: "FILE"
  Completes completes = Completes::nothing;

  // "-o" and "--output"; of a positional argument, "JOB".
  [[nodiscard]] std::vector<std::string> all_names() const;
  [[nodiscard]] bool positional() const { return !names.starts_with('-'); }
  [[nodiscard]] bool takes_value() const { return !std::holds_alternative<bool*>(value); }
  [[nodiscard]] bool repeated() const {
    return std::holds_alternative<std::vector<std::string>*>(value);
  }
  // Of a flag that takes a value; never empty.
  [[nodiscard]] std::string argument_name() const;
};

struct Command {
  std::string name = {}, help = {};
  std::vector<Flag> flags = {};
  std::string about = {};              // paragraphs for the manual, an empty line between two
  std::string example = {};            // a command line
  bool cautions = false;               // below that, the warning about heaters
  std::vector<Command> commands = {};  // one of which must follow
  std::function<int(const Context&)> run = {};
};

// The program itself, with all of its commands.
[[nodiscard]] Command command_line(Options& options);

// The end of a command's short help; `path`: "rules check".
[[nodiscard]] std::string footer(const Command& command, const std::string& path);

// What is said of heaters wherever a command changes what they do.
extern const std::string_view kHeaterCautions;

}  // namespace forewarm::cli
