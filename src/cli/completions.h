// What shells complete after `forewarm`, made from the table of commands.
//
// Each returns a script for its shell: commands, options, their choices, files and folders, keys of
// rule files, ids of findings, and words that `explain` explains. Pure.
#pragma once

#include <string>

#include "cli/command_line.h"

namespace forewarm::cli {

[[nodiscard]] std::string bash_completion(const Command& program);
[[nodiscard]] std::string zsh_completion(const Command& program);
[[nodiscard]] std::string fish_completion(const Command& program);

}  // namespace forewarm::cli
