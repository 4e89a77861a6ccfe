// Gives the targets of a job to the heaters that its filaments move to; the rules for that are in
// machine/move_filaments.h.
#pragma once

#include <vector>

#include "base/error.h"
#include "gcode/renumber.h"
#include "machine/heads.h"
#include "machine/interpreter.h"
#include "machine/visits.h"

namespace forewarm::machine {

// `lines` are those that are renumbered already; what comes back is all that are other lines, or
// new ones, in order. Tools of `map` that have to make room are added to it.
[[nodiscard]] Result<std::vector<gcode::MovedLine>> move_targets(
    const rules::Rules& rules, const Interpreter& interpreter, Heads& heads, Visits& visits,
    gcode::ToolMap& map, std::vector<gcode::MovedLine> lines);

}  // namespace forewarm::machine
