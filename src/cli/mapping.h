// Gives the filaments of a job other tools, as --map asks for.
//
// The job has to be scanned as it is first, because "best" depends on it, as does which tools are
// used. Line numbers in the mapped job and in its errors are those of the original. Lifetime:
// `text` reads from the original, which must outlive the Mapping.
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
  rules::Rules rules;                   // with each filament at its new tool
  job::Job job;
  std::uint64_t original_bytes = 0, original_hash = 0;
  std::vector<std::string> loading;  // what to load where, a line each
};

// Errors: `usage` for a map that cannot be read, or that puts two used tools in one place; `rules`
// for a place that the rules do not allow; `refused` for a job whose temperatures cannot follow
// their filaments. Where no filament that the job uses moves, there is a note and no Mapping.
[[nodiscard]] Result<std::optional<Mapping>> map_tools(const Context& context, ByteSource& original,
                                                       const rules::Rules& rules,
                                                       const std::string& name,
                                                       const AskedMap& asked, const job::Job& job);

// The line of the original of which a line of the moved text is made.
[[nodiscard]] std::uint64_t original_line(const Mapping& mapping, std::uint64_t line);

}  // namespace forewarm::cli
