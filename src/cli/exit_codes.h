// The exit codes of the program, each with what it means: for the manual and for `explain`.
#pragma once

#include <span>
#include <string_view>

#include "cli/context.h"

namespace forewarm::cli {

struct ExitCode {
  Exit code;
  std::string_view meaning;  // sentences
};

// All of them, in ascending order.
[[nodiscard]] std::span<const ExitCode> exit_codes();

}  // namespace forewarm::cli
