// One job of a batch: kept where an earlier output is still valid, else rewritten.
//
// Contract: do_one() reads the job and its output, writes only the output, through io::Replacement,
// and prints nothing. Several threads may call it at once, for different outputs; they share
// `rules`, which nobody writes. All errors are in the result.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "cli/batch_manifest.h"
#include "rules/rules.h"

namespace forewarm::cli {

struct JobResult {
  Entry entry;
  bool kept = false;  // the entry is that of an earlier run
  // With an error: the folder still holds an output of this name, from an earlier run.
  bool old_output = false;
  std::string warning;              // about the output, which was written all the same
  std::string breaks_off;           // why the job seems to be cut off
  std::vector<std::string> spools;  // that run out
  std::vector<std::string> hints;
};

struct JobTask {
  std::string path, output;
  const Entry* known = nullptr;  // from the manifest
  const rules::Rules& rules;
  std::string program;
  std::function<void(std::uint64_t)> progress;  // bytes of the job read so far
};
[[nodiscard]] JobResult do_one(const JobTask& task);

}  // namespace forewarm::cli
