// The jobs that a command reads: opened, restored if they are rewritten ones, scanned.
//
// "-" on the command line is standard input.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "cli/context.h"
#include "io/file_source.h"
#include "job/job.h"

namespace forewarm::cli {

[[nodiscard]] std::string shown_name(const std::string& path);  // in messages and reports

// A job's text; if that was rewritten, `original` has what it was made from.
struct OpenJob {
  io::FileSource text;
  std::optional<io::FileSource> original;
  [[nodiscard]] io::FileSource& job() { return original ? *original : text; }
};
[[nodiscard]] Result<io::FileSource> open_text(const std::string& path);
[[nodiscard]] Result<OpenJob> open_job(const std::string& path);
// The same for a text that is open already; `path` is for messages.
[[nodiscard]] Result<OpenJob> as_job(io::FileSource text, const std::string& path);

// With progress on a terminal, and, if `warns`, a warning where the job breaks off.
[[nodiscard]] Result<job::Job> scan_job(const Context& context, ByteSource& source,
                                        const rules::Rules& rules, const std::string& path,
                                        bool warns = true);

// What the user should know of a job as it is planned, each with its line.
[[nodiscard]] std::vector<std::string> hints_of(const job::Job& job);
// With commands that nobody knows, where these are many.
void note_hints(const Context& context, const job::Job& job);
// Which patterns of the rules fit no line, for the end of what a command says; with --verbose, how
// many each fits.
void note_patterns(const Context& context, const rules::Rules& rules, const job::Job& job);

struct LoadedJob {
  OpenJob input;
  job::Job job;
};
[[nodiscard]] Result<LoadedJob> load_job(const Context& context, const std::string& path,
                                         const rules::Rules& rules);

}  // namespace forewarm::cli
