// The rule files that jobs are rewritten by, read once: reading one for every input would take
// longer than all the rest.
#pragma once

#include "rules/rules.h"

namespace forewarm::fuzz {

struct RuleSet {
  const char* what;
  unsigned tools;  // T numbers that it serves, from 0
  rules::Rules rules;
};

[[nodiscard]] const RuleSet& rule_set(unsigned pick);

}  // namespace forewarm::fuzz
