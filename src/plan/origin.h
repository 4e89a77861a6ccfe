// Why a command is given, and the words for it, which are found once the plan is settled.
#pragma once

#include <cstdint>
#include <span>

#include "plan/decide_gap.h"
#include "plan/plan.h"
#include "plan/sequences.h"
#include "rules/rules.h"

namespace forewarm::plan {

struct Origin {
  enum class Kind : std::uint8_t {
    start,     // [dialect] job_start
    end,       // [dialect] job_end
    action,    // of a gap
    step,      // of a sequence
    lower,     // ... down from the lift with which it ended
    exchange,  // a wait before one
    hotter,    // the target in an exchange
    print,     // a wait before a use
    back,      // from a target of the job's own
    cools,     // the job waits for it to cool down ...
    cooled,    // ... and it has
  } kind;
  std::uint32_t part = 0;  // of the gap's actions, of the sequence's lines, of the dialect's
  std::uint32_t of = 0;    // gap, or sequence
};

// Fills in the reason, and the text of a raw command.
void say(Command& command, const Origin& origin, const rules::Dialect& dialect,
         std::span<const GapDecision> answers, std::span<const Steps> steps);

}  // namespace forewarm::plan
