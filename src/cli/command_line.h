// Every command and every flag of the program, described once, as values.
//
// From these the command line is parsed and the help is written (main.cpp). A description says
// where what was given goes, so the Options that it was made of must outlive it.
#pragma once

#include <functional>
#include <string>
#include <variant>
#include <vector>

#include "cli/commands.h"

namespace forewarm::cli {

// What all commands may be told, together.
struct Options {
  Common common;
  RewriteOptions rewrite;
  ForecastOptions forecast;
  CompareOptions compare;
  AssignOptions assign;
  CheckOptions check;
  BatchOptions batch;
  DiffOptions diff;
  RestoreOptions restore;
  RulesCheckOptions rules_check;
  RulesNewOptions rules_new;
};

struct Flag {
  using Value = std::variant<std::string*, bool*, unsigned*, std::vector<std::string>*>;

  std::string names;  // "-o,--output"; "JOB": what stands without a flag
  std::string help;
  Value value;  // several strings: a flag that may be repeated, or all that stand without one
  bool required = false;
  std::vector<std::string> one_of = {};  // of a string; empty: any
  unsigned least = 0, most = 0;          // of a number
};

struct Command {
  std::string name = {}, help = {};
  std::vector<Flag> flags = {};
  std::string about = {};              // below the flags in the help
  std::string example = {};            // a command line
  bool cautions = false;               // below that, what can go wrong with heaters
  std::vector<Command> commands = {};  // of which one has to follow
  std::function<int(const Context&)> run = {};
};

// The program itself, with all of its commands.
[[nodiscard]] Command command_line(Options& options);

// What the help of a command ends with.
[[nodiscard]] std::string footer(const Command& command);

}  // namespace forewarm::cli
