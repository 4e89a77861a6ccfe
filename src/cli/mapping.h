// Other tool numbers for a job: what --map asks for, and the job as it will be then.
//
// The job has to be scanned as it is first: what "best" is depends on it, and so does which tools
// are used. Lines in what comes of the job as it will be (`job`, and its errors) count as in the
// original. Lifetime: `text` is over the original, which has to outlive this.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "base/bytes.h"
#include "cli/commands.h"
#include "gcode/renumber.h"
#include "job/job.h"

namespace forewarm::cli {

struct Mapping {
  gcode::ToolMap map;
  std::vector<gcode::MovedLine> lines;
  std::unique_ptr<SplicedSource> text;  // the job with its filaments moved; at a fixed address
  rules::Rules rules;                   // filaments where they are then
  job::Job job;
  std::uint64_t original_bytes = 0, original_hash = 0;
  std::vector<std::string> loading;  // what to load where, a line each
};

// Kind `usage` for what cannot be read, or puts two tools that the job uses in one place; `rules`
// for a place that they do not allow; `refused` for a job whose temperatures cannot be kept with
// their filaments. Nothing, and a note, where no filament that the job uses moves.
[[nodiscard]] Result<std::optional<Mapping>> map_tools(const Context& context, ByteSource& original,
                                                       const rules::Rules& rules,
                                                       const std::string& name,
                                                       const AskedMap& asked, const job::Job& job);

}  // namespace forewarm::cli
