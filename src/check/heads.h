// The machine's toolheads, and who is mounted, by the names that the check calls them.
//
// The original's way through the selects and the rewrite's are followed apart: a Mount each.
#pragma once

#include "machine/heads.h"

namespace forewarm::check {

using machine::Heads;
using machine::kNone;
using machine::Selected;
using machine::ToolChanger;

}  // namespace forewarm::check
