// Jobs whose filaments move to other tools, rewritten in memory, for tests.
#pragma once

#include <string>

#include "base/error.h"
#include "machine/move_filaments.h"
#include "rules/rules.h"

namespace forewarm::test {

// As `rewrite --map` writes it. Errors: a job that is refused.
Result<std::string> try_moved_rewrite_of(const std::string& text, const rules::Rules& rules,
                                         const gcode::ToolMap& map);

// Fails the test if the job is refused.
std::string moved_rewrite_of(const std::string& text, const rules::Rules& rules,
                             const gcode::ToolMap& map);

}  // namespace forewarm::test
