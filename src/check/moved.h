// A rewrite whose filaments have moved to other tools, read as if the job had always been so.
//
// The marks "mapped T0 to T3" say where each tool went. What is compared then is the original with
// these numbers against the rewrite with each pair of lines (disabled, and the one that stands for
// it) as one line; whether the marks themselves make sense is said in `findings`.
// Errors: those of the sources, and kind `refused` for an original that cannot be renumbered so.
#pragma once

#include <optional>
#include <vector>

#include "base/spliced.h"
#include "check/finding.h"
#include "gcode/renumber.h"
#include "rules/recogniser.h"
#include "rules/rules.h"

namespace forewarm::check {

struct Moved {
  gcode::ToolMap map;
  std::vector<Splice> rewritten;     // makes of the rewrite one of the moved job
  std::vector<std::uint64_t> pairs;  // lines of the rewrite that are disabled and stood for
  Findings findings;
  // Of a line of the moved rewrite, its number in the rewrite as it is.
  [[nodiscard]] std::uint64_t line_of(std::uint64_t moved_line) const;
};

// Nothing if no line bears such a mark.
[[nodiscard]] Result<std::optional<Moved>> read_moved(ByteSource& rewritten,
                                                      const rules::Rules& rules,
                                                      const rules::Recogniser& recogniser);

[[nodiscard]] gcode::OwnNames own_names(const rules::Recogniser& recogniser);

}  // namespace forewarm::check
