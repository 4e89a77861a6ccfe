// What happened in prints of a job, against what was planned: by the machine's own echoes, or by
// the selects that its host sent where there are none.
//
// Each print is cut at its echoes: a change from `leave` to `there`, what is waited for after it up
// to `ready`, and a stretch up to the next `leave`. What has both ends counts; a piece with an end
// that is missing, or with ends in two parts of a record, is in neither sum. Of each piece:
// - A change takes what parking, picking and exchanging take. One that takes over stop_s more than
//   planned holds a stop, as does one in which the record says so; it is in no statistics.
// - Of a stretch, waits before an exchange are no echo's: what it took beyond its scaled plan was
//   waited, if the heater was not warm until its end; else it is moving.
// - Step sequences have no echoes of their own: a stretch holds them beside moves, all of one
//   toolhead. Where nothing was waited in it, and its moves' pace is spread less than half of what
//   its sequences are to take, these are what is left of it when its moves are taken at the pace of
//   the stretches without sequences. Where at least kLeastSequences of a toolhead are so told,
//   its others count as long, against their plan; else a stretch is split as planned.
// A `leave` that does not rest (script.h) comes too early by the moves that the machine held: its
// change and the stretch before it count in the times, but in no statistics.
//
// A `start` begins a print: one before it in the same record that did not come to its end was
// broken off, and counts as far as it went; without a single change it is no print.
//
// On time. A wait takes something when all is warm: kWarmQuantile of the record's waits is taken
// for that, up to kMostWarmWaitS. A use is late that waited more than kLateS beyond that and its
// plan.
//
// Pure. The more prints, the narrower.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/statistics.h"
#include "review/journal.h"
#include "rules/rules.h"
#include "thermal/fit.h"

namespace forewarm::review {

inline constexpr double kLateS = 1, kWarmQuantile = 0.2, kMostWarmWaitS = 5;
inline constexpr double kLevel = 0.95;  // of intervals
inline constexpr std::size_t kLeastSequences = 5;

struct ChangeSeen {
  std::size_t record = 0, print = 0;
  std::size_t change = 0;  // of Schedule::changes
  // From the job's start, as the plan counts.
  std::optional<double> at_s;
  std::optional<double> took_s;  // its stop included
  std::optional<double> wait_s;  // for it, before and after
  std::optional<double> late_s;  // of that, beyond the plan and what a wait takes when all is warm
  double stop_s = 0;
  std::optional<double> at_need_c, fed_c;
  bool counts = false;  // in statistics
};

struct StopSeen {
  enum class After { moving, park_pick, exchange, waiting };
  std::size_t record = 0;
  double at_s = 0;         // in the record
  std::uint64_t line = 0;  // of the job: the last change's
  double duration_s = 0;
  After after = After::moving;
};
[[nodiscard]] const char* name_of(StopSeen::After after);  // "park_pick"

struct CauseTimes {
  double moving_s = 0, park_pick_s = 0, exchange_s = 0, sequences_s = 0, waiting_s = 0, stops_s = 0;
  [[nodiscard]] double sum() const {
    return moving_s + park_pick_s + exchange_s + sequences_s + waiting_s + stops_s;
  }
};

struct Stat {
  enum class Kind { park_pick, exchange, sequence };
  Kind kind = Kind::park_pick;
  // That is picked, whose filament is exchanged, or that does the step sequences.
  std::size_t head = 0;
  std::size_t count = 0;
  double median_s = 0, mean_s = 0, sd_s = 0, rule_s = 0;
};

[[nodiscard]] const char* name_of(Stat::Kind kind);  // "park_pick"

struct OnTime {
  double promised = 0;
  std::uint64_t uses = 0, late = 0;
  Interval late_share;
};

// Actual / planned, of stretches without a change or a wait.
struct Scale {
  thermal::Estimate factor{1, {}};  // of the plan's time
  double spread = 0;                // of a stretch's own, as a share
  std::size_t stretches = 0;
  double worth = 0;  // so many stretches of one length would tell as much of the spread
};

struct Odds {
  std::optional<std::size_t> head;  // of picking it; none: the feeder's
  std::uint64_t stops = 0, changes = 0;
  double value = 0;  // (stops + 1/2)/(changes + 1)
  Interval interval;
};

// How far a print went.
struct PrintEnd {
  std::size_t record = 0;
  bool whole = false;      // it came to its end
  std::size_t visits = 0;  // of Job::visits that are known to be over
  // Of when each echo, or select, came after the first: another print of the job has others.
  std::uint64_t fingerprint = 0;
  bool counted_before = false;  // by a caller: it has been subtracted from spools already
  // When the record's clock, in this part, was where the plan is at 0; none: nothing tells.
  std::optional<double> zero_s;
  std::optional<double> end_s;  // of its last echo, by the same clock
  std::size_t part = 0;
};

struct Review {
  std::size_t prints = 0;
  bool by_selects = false;
  std::uint64_t unknown_echoes = 0;  // of numbers that the job does not have
  std::uint64_t missing_echoes = 0;  // that the job has
  std::vector<PrintEnd> ends;        // of each print
  std::vector<ChangeSeen> changes;   // in the order of records and prints
  std::vector<StopSeen> stops;
  CauseTimes planned, actual;
  std::vector<Stat> stats;
  std::uint64_t toolhead_changes = 0, exchanges = 0;
  OnTime on_time;
  Scale scale;
  double warm_wait_s = 0;
  bool sequences_untold = false;  // there are some, and no stretch tells how long they take
  std::vector<Odds> odds;
};

[[nodiscard]] Review review(const Schedule& schedule, const rules::Rules& rules,
                            const std::vector<Journal>& records);

// How long parking and picking each toolhead, and exchanging in it, takes, from all changes that
// count. Where changes cannot tell parking from picking, what differs from the rules is shared
// evenly. Indexes as Rules::toolheads.
struct PartsOfChanges {
  struct Part {
    thermal::Estimate seconds;
    std::size_t count = 0;
  };
  std::vector<Part> park, pick, exchange;
  std::optional<Part> park_spread_s, exchange_spread_s;
};
[[nodiscard]] PartsOfChanges parts_of_changes(const Schedule& schedule, const rules::Rules& rules,
                                              const Review& review);

}  // namespace forewarm::review
