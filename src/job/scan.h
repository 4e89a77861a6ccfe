// One streaming pass: bytes to Job.
//
// Errors are of kind `refused`, with file:line:column: bytes that are not text, nothing in it, a
// select or target that no toolhead serves, a target above its toolhead's max_c, a checksum that is
// wrong, and a job that carries marks (restore it first). Memory does not grow with the bytes, but
// for one line. Reads `source` once, in order, with a second thread from that.
#pragma once

#include <functional>
#include <string>

#include "base/bytes.h"
#include "gcode/blocks.h"
#include "job/job.h"
#include "job/spools.h"

namespace forewarm::job {

struct ScanOptions {
  std::string name = "job";  // what messages call it
  std::size_t chunk = gcode::BlockReader::kChunk;
  // 2 or more: words are read by a thread of its own, ahead of the clock, in jobs from that size
  // on. The Job is the same.
  unsigned threads = 1;
  std::uint64_t thread_from = gcode::BlockReader::kWorthThread;
  std::function<void(std::uint64_t)> progress;  // bytes read so far, now and then
  const WatchedSpools* spools = nullptr;        // for Job::spool_ends
};

[[nodiscard]] Result<Job> scan(ByteSource& source, const rules::Rules& rules,
                               const ScanOptions& options = {});

}  // namespace forewarm::job
