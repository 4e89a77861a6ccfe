// Which rule file is in force, and what there is to go by where there is none.
//
// Looked at, in this order: --rules, $FOREWARM_RULES, then forewarm/rules.toml in $XDG_CONFIG_HOME
// or, where that is not set, in $HOME/.config; the working folder never. The word built-in in
// either of the first two asks for the built-in guesses; a file of that name is ./built-in.
//
// Errors are of kind `rules`, also where a file cannot be read.
#pragma once

#include <string>

#include "base/error.h"
#include "rules/rules.h"

namespace forewarm::cli {

// Where there is no rule file, what only looks goes on by the guesses. What writes jobs does not:
// an environment that a slicer has emptied shall not change how a machine is heated.
enum class Guesses { if_asked_for, where_no_file };

// `named`: what --rules says; empty: not given. Without a file, the error names every place that
// was looked at.
[[nodiscard]] Result<rules::Rules> rules_in_force(const std::string& named, Guesses guesses);
// The path of the file that these will be read from; empty: none.
[[nodiscard]] std::string rule_file_in_force(const std::string& named);

}  // namespace forewarm::cli
