// What the completions of all shells have in common. Internal to cli/completions_*.cpp.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "cli/command_line.h"

namespace forewarm::cli {

// A command with the words that lead to it: {"rules", "check"}; none of the program itself.
struct PathedCommand {
  std::vector<std::string> path;
  const Command* command;
};
// The program and all of its commands, each before those of its own.
[[nodiscard]] std::vector<PathedCommand> pathed_commands(const Command& program);

// The names of the commands that `command` has.
[[nodiscard]] std::vector<std::string> command_names(const Command& command);

// The words that a shell offers for the values of flags that `program` has. Files and folders are
// not among them, nor names of commands, which depend on the words before.
[[nodiscard]] std::map<Completes, std::vector<std::string>> offered(const Command& program);

// What stands for a name of the user's own in an offered path: toolhead.NAME.park_s=
inline constexpr std::string_view kAnyName = "NAME";

[[nodiscard]] std::string joined(const std::vector<std::string>& words, std::string_view between);

}  // namespace forewarm::cli
