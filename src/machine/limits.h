// The limits of motion that a job begins with, by the rule file.
#pragma once

#include "motion/limits.h"
#include "rules/rules.h"

namespace forewarm::machine {

[[nodiscard]] motion::Limits initial_limits(const rules::Motion& motion);

}  // namespace forewarm::machine
