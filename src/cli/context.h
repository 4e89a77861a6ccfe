// What every command shares: messages, exit codes, the rule file in force, opening jobs.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "base/error.h"
#include "cli/rule_file.h"
#include "io/file_sink.h"
#include "io/file_source.h"
#include "rules/rules.h"

namespace forewarm::cli {

enum Exit { kDone = 0, kDiffers = 1, kUsage = 2, kRefused = 3, kIo = 4, kBug = 70 };

[[nodiscard]] int exit_code(const Error& error);

struct Common {
  std::string rules_file;      // --rules
  std::string color = "auto";  // --color
  bool quiet = false;
};

class Context {
 public:
  explicit Context(const Common& common);

  // Says what went wrong on stderr; the exit code for it.
  int fail(const Error& error) const;
  void note(std::string_view text) const;  // one line on stderr, unless quiet
  void warn(std::string_view text) const;  // likewise, quiet or not
  [[nodiscard]] bool progress_wanted() const;

  // Those in force (cli/rule_file.h), with a note of which they are.
  [[nodiscard]] Result<rules::Rules> rules(Guesses guesses) const;
  // The file that they will be read from, before any is; empty: none.
  [[nodiscard]] std::string rule_file() const;

 private:
  Common common_;
};

// Results go to standard output through this.
class Output {
 public:
  Output() : sink_(1, "standard output") {}
  [[nodiscard]] io::FdSink& sink() { return sink_; }
  // Writes the rest. A broken pipe is quiet, but still no success.
  [[nodiscard]] int finish(const Context& context, Status status, int code = kDone);

 private:
  io::FdSink sink_;
};

// A job as given on the command line: "-" is standard input. If it is a rewritten job, what it was
// made from is in `original` and `text` is left as it is.
struct OpenJob {
  io::FileSource text;
  std::optional<io::FileSource> original;
  [[nodiscard]] io::FileSource& job() { return original ? *original : text; }
};
[[nodiscard]] Result<io::FileSource> open_text(const std::string& path);
[[nodiscard]] Result<OpenJob> open_job(const std::string& path);
// The same of a text that is open already; `path` is as it was given.
[[nodiscard]] Result<OpenJob> as_job(io::FileSource text, const std::string& path);

}  // namespace forewarm::cli
