// Jobs rewritten, restored and checked in memory, for tests.
#pragma once

#include <string>

#include "check/check.h"
#include "rules/rules.h"

namespace forewarm::test {

// As `rewrite` writes it. Fails the test if the job is refused, or the plan breaks an invariant.
std::string rewrite_of(const std::string& text, const rules::Rules& rules);

// As `restore` writes it. Fails the test if it is refused.
std::string restored(const std::string& rewritten);

// What `check` finds, without the original where that is null. A text that cannot be followed at
// all has one finding.
check::Report report_of(const std::string* original, const std::string& rewritten,
                        const rules::Rules& rules);

std::string print(const check::Report& report);

}  // namespace forewarm::test
