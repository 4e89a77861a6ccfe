// A rewrite whose filaments have moved to other tools, read as if the job had always been so.
//
// The marks say where each tool went, in the second line and in each line's own "mapped T0 to T3".
// What is compared then is the original as it becomes by that (machine/move_filaments.h) against
// the rewrite with each pair of lines (disabled, and the one that stands for it) as one line.
// Whether the marks are what follows from that, and whether filament moves at the target then that
// the original moves it at, is said in `findings`.
// Errors: those of the sources.
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
  std::uint64_t inserted = 0;        // lines of the moved job that the original does not have
  Findings findings;
  // Of a line of the moved rewrite, its number in the rewrite as it is.
  [[nodiscard]] std::uint64_t line_of(std::uint64_t moved_line) const;
};

// Nothing if no line bears such a mark.
[[nodiscard]] Result<std::optional<Moved>> read_moved(ByteSource& rewritten,
                                                      const rules::Rules& rules,
                                                      const rules::Recogniser& recogniser);

}  // namespace forewarm::check
