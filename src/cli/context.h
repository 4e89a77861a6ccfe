// What every command shares: messages, exit codes, and the rule file in force.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "cli/rule_file.h"
#include "rules/rules.h"

namespace forewarm::cli {

enum Exit { kDone = 0, kDiffers = 1, kUsage = 2, kRefused = 3, kIo = 4, kBug = 70 };

[[nodiscard]] int exit_code(const Error& error);

struct Common {
  std::string rules_file;             // --rules
  std::vector<std::string> settings;  // --set
  std::string color = "auto";         // --color
  bool quiet = false, verbose = false;
};

class Context {
 public:
  explicit Context(const Common& common);

  // Prints the error on stderr and returns its exit code.
  int fail(const Error& error) const;
  void note(std::string_view text) const;    // one line on stderr, unless quiet
  void detail(std::string_view text) const;  // likewise, only with --verbose
  [[nodiscard]] bool quiet() const { return common_.quiet; }
  void warn(std::string_view text) const;  // one line on stderr, also when quiet
  [[nodiscard]] bool progress_wanted() const;
  // Of what goes to standard output: $COLUMNS, else as wide as the terminal, else kTextWidth.
  [[nodiscard]] std::size_t text_width() const;
  // Whether colours may be in it.
  [[nodiscard]] bool colours_text() const;
  // The same where nobody watches: without progress, and without the notes of rules(), since one
  // line has to say it all.
  [[nodiscard]] Context unwatched() const;

  // The rules in force (cli/rule_file.h), with a note that names them. `instead`: a file to read
  // them from, whatever else is said.
  [[nodiscard]] Result<rules::Rules> rules(Guesses guesses, const std::string& instead = {}) const;
  // The same where a command has rule files and settings of its own.
  [[nodiscard]] Result<rules::Rules> rules_of(Guesses guesses, const std::string& named,
                                              const std::vector<rules::Setting>& settings) const;
  // What --set says: values in place of the rule file's.
  [[nodiscard]] Result<std::vector<rules::Setting>> settings() const;
  // What --rules says.
  [[nodiscard]] const std::string& named_rules() const { return common_.rules_file; }
  // The file that they will be read from; empty: none.
  [[nodiscard]] std::string rule_file() const;

 private:
  Common common_;
  bool unwatched_ = false;
};

// What --set says, each time that it is given.
[[nodiscard]] Result<std::vector<rules::Setting>> parsed_settings(
    const std::vector<std::string>& texts);

}  // namespace forewarm::cli
