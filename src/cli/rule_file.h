// Finds the rule file that is in force; without one, built-in guesses may take its place.
//
// The search goes through --rules, $FOREWARM_RULES, then forewarm/rules.toml in $XDG_CONFIG_HOME
// or, where that is not set, in $HOME/.config. It never looks into the working folder. The word
// built-in in either of the first two asks for the built-in guesses; a file of that name is
// ./built-in.
//
// Errors are of kind `rules`, also where a file cannot be read.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "base/error.h"
#include "rules/paths.h"
#include "rules/rules.h"

namespace forewarm::cli {

// Without a rule file, commands that only read go on with the guesses. Commands that write jobs do
// not: an environment that a slicer has emptied must not change how a machine is heated.
enum class Guesses { if_asked_for, where_no_file };

// `named`: what --rules says; empty: not given. Without a file, the error names every place that
// was looked at.
// `settings`: values in place of the file's, or of the guesses'.
[[nodiscard]] Result<rules::Rules> rules_in_force(const std::string& named, Guesses guesses,
                                                  std::span<const rules::Setting> settings = {});
// A rule file's text, of rules::kMaxRuleBytes at most.
[[nodiscard]] Result<std::string> rule_file_text(const std::string& file);
// That text with those settings, as rules_in_force() has it.
[[nodiscard]] Result<rules::Rules> load_with(std::string_view text, const std::string& name,
                                             std::span<const rules::Setting> settings);
// What they are read from, before that: a file's text, or that of the guesses.
struct RuleText {
  std::string text, name;
  bool built_in = false;
};
[[nodiscard]] Result<RuleText> rule_text_in_force(const std::string& named, Guesses guesses);
// The path of the file that they will be read from; empty: none.
[[nodiscard]] std::string rule_file_in_force(const std::string& named);

}  // namespace forewarm::cli
