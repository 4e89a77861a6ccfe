// Where the heaters' gaps and exchanges lie in a job, whatever policy fills them.
//
// Between two uses of one toolhead lies a Transition: parked, or mounted while the feeder exchanges
// its filament. Which of the job's own targets lie in it, which of its waits stay, and where waits
// are needed follow from the text alone, so every policy starts from the same layout.
#pragma once

#include <optional>
#include <vector>

#include "base/error.h"
#include "job/job.h"
#include "rules/rules.h"

namespace forewarm::plan {

// A temperature that is waited for before the line at `at`.
struct HeatDeadline {
  job::Place at;
  double temp_c = 0;
  bool ours = false;  // inserted; else the job's own wait
  bool guards_exchange = false;
  std::size_t target = job::kNone;  // of job.targets, if the job's own
};

struct Transition {
  std::size_t head = 0;
  std::optional<std::size_t> before, after;  // uses
  bool parked = true;
  job::Place from, to;       // parked: from being put away (or planning's start) to being picked
  bool hot_at_from = false;  // `before` is still mounted there, at what it printed at
  bool arrived_at_from = false;  // ... and what arrives for it is given there, before
  job::Place ready;              // `after` may feed from here on: its waits are over
  int tool = 0;                  // the next use's, else the last's
  double standby_c = 0;          // of the filament that is in it
  double max_hot_idle_s = 0;
  bool exchange = false;  // `after` begins with one
  double out_c = 0;       // exchange: the outgoing filament's exchange_c or working temperature
  double work_c = 0;      // of `after`
  double ready_c = 0;     // the target in an exchange; work_c without one
  // The target up to the exchange, waited for before it; ready_c without one. It is less than
  // ready_c where the exchange itself leaves time enough for the rest.
  double approach_c = 0;
  std::vector<HeatDeadline> deadlines;  // in the order of the text
  std::vector<std::size_t> disabled;    // of job.targets
  // The job's own waits for cooling down that stay (job.targets). Parked, the gap begins after
  // them, and from `put_away` on it is off. (Put away it is there for a pause, too.)
  std::vector<std::size_t> cool_downs;
  std::optional<job::Place> put_away;
  // Parked over pauses of the job (job.pauses), of which this is the last: the gap begins behind
  // it, and is decided for a heater that is as cold as it can be by then. From parked_for_pause on
  // it waits at waits_at_pause_c, which is given there unless it is no hotter anyway.
  std::optional<std::size_t> pause;
  std::optional<double> waits_at_pause_c;
  job::Place parked_for_pause;
  // Of sequences.h: given before `from`, or before the exchange while mounted; given at `ready`.
  std::size_t leaving = job::kNone, arriving = job::kNone;
};

// `policy` matters for gaps with pauses alone: see pauses.h.
// In the order in which the transitions' first deadlines stand in the text; those without `after`
// last.
[[nodiscard]] Result<std::vector<Transition>> lay_out(const job::Job& job,
                                                      const rules::Rules& rules,
                                                      rules::Policy policy);

}  // namespace forewarm::plan
