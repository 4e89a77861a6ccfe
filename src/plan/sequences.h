// Which step sequence is given where, and the lines that it comes to there.
//
// A toolhead that comes back with the filament it is put away with gets `before_park`, and
// `after_pick` once it is hot again. One that comes back with another filament gets
// `before_exchange` when it is put away, while it is hot; one that stays mounted gets it right
// before the select, hot again; `after_exchange` follows the wait for what came in. One that never
// comes back gets `at_last_use`. A sequence that makes up for what oozes comes to as much as the
// toolhead was hot while parked, so it is drafted anew with each timeline (basis.h); without a
// `before_park`, such an `after_pick` is given all the same. A lift with which what is given right
// before a select ends lasts over it. What was never fed has nothing to give up.
//
// REQUIRES: `job` was scanned with these rules. Errors, of kind `refused` and with the line of the
// select: those of job/steps.h, and a place at which a sequence cannot be given.
#pragma once

#include <string>
#include <vector>

#include "base/error.h"
#include "job/steps.h"
#include "plan/transitions.h"

namespace forewarm::plan {

struct Steps {
  job::Place at;
  std::size_t head = 0;
  int tool = 0;           // that is in it
  std::string name;       // of the sequence
  std::string why;        // in words, for the marks
  bool exchange = false;  // before_exchange, after_exchange
  bool arrives = false;   // given before its use, not after it
  job::StepBlock block;
  // A lift lasts over the select: what comes down again after it.
  job::Place lower_at;
  job::StepBlock lower;
  std::size_t make_up = job::kNone;  // of PlacedSequences::make_ups; the block has at_most_mm then
};

// What the block of a sequence with make-up steps depends on.
struct MakeUp {
  std::size_t sequence = 0;       // of PlacedSequences::steps
  std::vector<std::size_t> gaps;  // of the toolhead since it was used, in Problem::gaps
  job::StepQuestion question;     // without hot_s
};

struct PlacedSequences {
  std::vector<Steps> steps;
  std::vector<MakeUp> make_ups;
};

// Fills in `leaving` and `arriving` of the transitions: places in what is returned.
[[nodiscard]] Result<PlacedSequences> place_sequences(const job::Job& job,
                                                      const rules::Rules& rules,
                                                      std::vector<Transition>& transitions);

}  // namespace forewarm::plan
