// What is wrong with a command line that could not be parsed, and what was probably meant.
#pragma once

#include <string>
#include <vector>

#include "base/error.h"
#include "cli/command_line.h"

namespace forewarm::cli {

// The first command or option of `words` that is not known, with the nearest that is; else `what`,
// as the parser put it. `words`: without the program's name. Pure.
[[nodiscard]] Error why_refused(const Command& program, const std::vector<std::string>& words,
                                const std::string& what);

}  // namespace forewarm::cli
