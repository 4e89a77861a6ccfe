// What is wrong with a command line that could not be parsed, and what was probably meant.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/error.h"
#include "cli/command_line.h"

namespace forewarm::cli {

// `words`: without the program's name. Pure. Errors are of kind `usage`.

// A long option with one dash, such as -html or -output=FILE. The parser would take it for -h, or
// for -o with a value, and go on.
[[nodiscard]] std::optional<Error> lacks_a_dash(const Command& program,
                                                const std::vector<std::string>& words);
// The first command or option of `words` that is not known, with the nearest that is; else `what`,
// as the parser put it.
[[nodiscard]] Error why_refused(const Command& program, const std::vector<std::string>& words,
                                const std::string& what);

}  // namespace forewarm::cli
