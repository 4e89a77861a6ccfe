// One job of a batch: looked at, kept if what is there still holds, rewritten if not.
//
// Contract: reads the job and its output, writes only the output, through io::Replacement; prints
// nothing. May run on several threads at once, for different outputs; `rules` is shared and only
// read. Whatever goes wrong is in the result.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "cli/batch_manifest.h"
#include "rules/rules.h"

namespace forewarm::cli {

struct JobResult {
  Entry entry;
  bool kept = false;  // the entry is that of an earlier run
  // With an error: in the folder there is still an output of this name, of something else.
  bool old_output = false;
  std::string warning;     // the output is there, but
  std::string breaks_off;  // the job does, it seems
};

struct JobTask {
  std::string path, output;
  const Entry* known = nullptr;  // from the manifest
  const rules::Rules& rules;
  std::string program;
  std::function<void(std::uint64_t)> progress;  // bytes of the job read so far
};
[[nodiscard]] JobResult do_one(const JobTask& order);

}  // namespace forewarm::cli
