// What `rewrite --hook` asks and says beyond a rewrite in place. A slicer calls it, and nobody
// watches: it reads no stream, asks nothing, shows no progress, and says one line when all is done.
//
// The rewrite is checked as it lies on the disk, before the job is replaced. Then its page is
// written, and last the job is put in place: whenever the exit code is not 0, the job is untouched.
#pragma once

#include <string>

#include "check/check.h"
#include "cli/commands.h"
#include "io/file_source.h"

namespace forewarm::cli {

// Errors of kind `usage`: options that contradict a hook, and files that would make it wait.
[[nodiscard]] Status hook_allowed(const Context& context, const RewriteOptions& options);

// The job's name with .html behind it, in its own folder or in that of --reports.
[[nodiscard]] std::string hook_page(const RewriteOptions& options);

// `original`: what `rewritten` was made from. Rules as the file has them, also with --map.
[[nodiscard]] Result<check::Report> check_rewrite(ByteSource& original, io::FileSource& rewritten,
                                                  const rules::Rules& rules,
                                                  const std::string& name);

// Says which findings there are, the first of them in full. REQUIRES: there is one.
[[nodiscard]] Error found_wrong(const check::Findings& findings, const std::string& job);

// Makes the folder of --reports and those above it, where they are missing.
[[nodiscard]] Status make_folder(const std::string& folder);

}  // namespace forewarm::cli
