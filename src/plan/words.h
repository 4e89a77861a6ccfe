// The causes of a plan in words, with their numbers: for marks, the report and the JSON.
//
// Pure and locale-free; plain ASCII without line breaks, as a mark needs it.
#pragma once

#include <string>

#include "plan/treat.h"

namespace forewarm::plan {

// Why the gap is treated as it is, and what its preheat keeps to.
[[nodiscard]] std::string words_of(const Because& because);
// The same for one command of it.
[[nodiscard]] std::string words_of(const GapAction& action, const Because& because);

}  // namespace forewarm::plan
