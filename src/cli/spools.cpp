#include "cli/spools.h"

#include <thread>

#include "job/scan.h"
#include "report/spools.h"

namespace forewarm::cli {

Result<std::vector<job::SpoolEnd>> spool_ends(ByteSource& text, const job::Job& job,
                                              const plan::Plan& plan, const rules::Rules& rules,
                                              const Mapping* mapping) {
  const job::WatchedSpools watched = report::short_spools(job, plan, rules);
  if (watched.usable_mm.empty()) return std::vector<job::SpoolEnd>();
  job::ScanOptions options;
  options.name = job.name;
  options.threads = std::thread::hardware_concurrency();
  options.spools = &watched;
  auto again = job::scan(text, rules, options);
  if (!again) return std::move(again.error());
  if (mapping != nullptr) {
    for (job::SpoolEnd& end : again->spool_ends) end.line = original_line(*mapping, end.line);
  }
  return std::move(again->spool_ends);
}

}  // namespace forewarm::cli
