// What of machine/ the check uses all over, by short names.
//
// The original's way through the selects and the rewrite's are followed apart: a ToolChanger each.
#pragma once

#include "machine/heads.h"
#include "machine/interpreter.h"

namespace forewarm::check {

using machine::Heads;
using machine::InterpretedLine;
using machine::kNone;
using machine::Operation;
using machine::Selected;
using machine::ToolChanger;

}  // namespace forewarm::check
