// Every command and every flag of the program, described once, as values.
//
// The parser and the help are made from them (main.cpp). Each flag points to the option that it
// sets, so the Options must outlive the description.
#pragma once

#include <functional>
#include <string>
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
};

struct Flag {
  using Value = std::variant<std::string*, bool*, unsigned*, std::vector<std::string>*>;

  std::string names;  // "-o,--output"; "JOB" for a positional argument
  std::string help;
  Value value;  // several strings: a flag that may be repeated, or all positional arguments
  bool required = false;
  std::vector<std::string> one_of = {};  // of a string; empty: any
  unsigned least = 0, most = 0;          // of a number
};

struct Command {
  std::string name = {}, help = {};
  std::vector<Flag> flags = {};
  std::string about = {};              // below the flags in the help
  std::string example = {};            // a command line
  bool cautions = false;               // below that, the warning about heaters
  std::vector<Command> commands = {};  // one of which must follow
  std::function<int(const Context&)> run = {};
};

// The program itself, with all of its commands.
[[nodiscard]] Command command_line(Options& options);

// The end of a command's help.
[[nodiscard]] std::string footer(const Command& command);

}  // namespace forewarm::cli
