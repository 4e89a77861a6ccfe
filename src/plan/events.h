// What the heaters are told, in the order of the text: a plan's commands, and what it leaves of the
// job's own; with where gaps begin and end. For simulate.h.
//
// The commands need not be in order yet: place and rank decide.
#pragma once

#include <cstdint>
#include <vector>

#include "plan/plan.h"
#include "plan/simulate.h"
#include "plan/transitions.h"

namespace forewarm::plan {

// Order of inserted lines at one place. What was lifted before the select comes down first, then
// comes what another heater may do meanwhile; then what a toolhead that was picked before waits for
// and is given; then what one that is put away is given, and that it is let go of; then what has to
// be before the select: waits, and what follows them; then what another heater may do after that.
enum Inserted : int {
  kBegin = 0,
  kLower = 1,
  kFirst = 2,
  kArrive = 3,
  kParting = 4,
  kLetGo = 5,
  kNext = 6,
  kShaping = 7,
  kAfter = 8,
  kLast = 9,
};

// `parked`: which of `breaks` are gaps, in the order in which events number them. `disabled`: of
// job.targets. `into` is made anew; its memory is used again.
void events_of(const job::Job& job, const std::vector<Transition>& breaks,
               const std::vector<std::size_t>& parked, const std::vector<CommandDraft>& commands,
               const std::vector<std::size_t>& disabled, Timeline& into);
// The same with a plan's.
void events_of(const job::Job& job, const std::vector<Transition>& breaks,
               const std::vector<std::size_t>& parked, const Plan& plan, Timeline& into);

// What the job tells the heaters by itself, where nothing is planned.
void own_events_of(const job::Job& job, Timeline& into);

}  // namespace forewarm::plan
