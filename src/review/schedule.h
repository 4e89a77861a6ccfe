// When everything in a printed job was to happen: its changes with their parts, and what is waited
// for where.
//
// It is made from the job as printed (rewrite/printed.h), scanned by the rules that it was
// rewritten by, and replays its targets and waits as the plan did. Times are seconds from the
// job's start, waits included, but for those that are called `job`, without them.
//
// A change is numbered by the echoes around it. A job without echoes has changes all the same, with
// no number.
#pragma once

#include <algorithm>
#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "job/job.h"
#include "plan/trace.h"
#include "review/script.h"

namespace forewarm::review {

struct PlannedChange {
  std::uint64_t line = 0;  // of the select in the printed job
  int from_tool = -1, tool = -1;
  std::size_t from_head = job::kNone, head = job::kNone;
  job::ChangeKind kind = job::ChangeKind::toolhead;
  double park_s = 0, pick_s = 0, exchange_s = 0;
  std::optional<std::uint64_t> number = {};
  bool leave_rests = false;      // its echo says when the machine got there
  bool has_ready = false;        // some echo stands behind its wait
  double at_s = 0;               // when it begins
  double leave_job_s = 0;        // job time then ...
  double there_job_s = 0;        // ... when it is done ...
  double ready_job_s = 0;        // ... and when what follows on it was waited for
  double wait_before_s = 0;      // planned, since the last change was ready: for its own heater
  double wait_after_s = 0;       // planned, until it is ready
  std::size_t waits_before = 0;  // how many waits stand there
  std::size_t waits_after = 0;
  double steps_before_s = 0;  // from the last of the waits before it until it begins
  // Step sequences, since the last change was ready and until this one is.
  double sequences_before_s = 0, sequences_after_s = 0;
  double before_c = 0;  // what the last wait before it is for; 0: none
  double needed_c = 0;  // what its heater has to be at; 0: not known
  [[nodiscard]] double takes_s() const { return park_s + pick_s + exchange_s; }
  [[nodiscard]] bool exchanges() const { return exchange_s > 0; }
};

struct PlannedTime {
  double moving_s = 0, park_pick_s = 0, exchange_s = 0, sequences_s = 0, waiting_s = 0;
};

// A line of the job that selects.
struct PlannedSelect {
  int tool = -1;
  std::optional<std::size_t> change = {};  // what it begins
};

struct Schedule {
  std::vector<PlannedChange> changes;  // from the start of planning on
  std::vector<PlannedSelect> selects;  // of the whole job
  double start_s = 0, end_s = 0;       // of what is planned: from its start to the job's end
  double start_job_s = 0, end_job_s = 0;
  PlannedTime time;
  double sequences_last_s = 0;  // behind the last change
  double total_wait_s = 0;
  std::size_t heads = 0;
  bool echoes = false;
  bool feeds = false;  // a measuring job does not: it tells nothing of moves, and promises nothing
  std::vector<std::uint64_t> numbers;  // of all echoes, ascending

  [[nodiscard]] bool says(std::uint64_t number) const {
    return std::binary_search(numbers.begin(), numbers.end(), number);
  }
};

// Which toolhead each change waits for after it, by its number.
[[nodiscard]] std::map<std::uint64_t, std::size_t> waits_of(const Schedule& schedule);

// Where a trace is given, it becomes that of the replay, for pictures.
[[nodiscard]] Schedule schedule_of(const job::Job& printed, const Script& script,
                                   const rules::Dialect& dialect, plan::Trace* trace = nullptr);

}  // namespace forewarm::review
