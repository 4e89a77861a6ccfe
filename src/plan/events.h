// What heaters are set to and waited for, in the order of the text: a plan's commands, what it
// leaves of the job's own targets, and where gaps begin and end. For simulate.h.
//
// Commands need not be in order: place and rank decide.
#pragma once

#include <span>

#include "plan/command.h"
#include "plan/plan.h"
#include "plan/problem.h"
#include "plan/simulate.h"

namespace forewarm::plan {

// Order of inserted lines at one place. First, what was lifted before a select comes down; then
// come commands for other heaters, which have time meanwhile. A toolhead that was picked before is
// waited for and gets its sequence; one that is put away gets its sequence, then its target for the
// gap. Last come waits that have to be before the select, and what follows them, and then commands
// for other heaters that have to come after these.
enum Inserted : int {
  kBegin = 0,
  kLower = 1,
  kFirst = 2,
  kArrive = 3,
  kParting = 4,
  kCool = 5,
  kNext = 6,
  kShaping = 7,
  kAfter = 8,
  kLast = 9,
};

// Of the problem with these commands. `into` is made anew; its memory is used again.
void events_of(const Problem& problem, std::span<const CommandDraft> commands, Timeline& into);
// The same of a plan, with what it disables.
void events_of(const Problem& problem, const Plan& plan, Timeline& into);

// The job's own targets alone, where nothing is planned.
void own_events_of(const job::Job& job, const rules::Dialect& dialect, Timeline& into);

}  // namespace forewarm::plan
