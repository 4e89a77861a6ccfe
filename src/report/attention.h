// When a job may need attention: which changes may stop the machine, and which exchanges happen in
// hours in which nobody is at the machine.
//
// Odds are the rule file's: [feeder] fault_odds for each exchange, with fault_odds of the filament
// that comes in; a toolhead's fault_odds for each change that picks it; all are taken to be
// independent. A pause that the job asks for is a stop with p = 1. Expected stops are the sum of
// the odds p, the chance of none is the product of all 1 - p. Where the rule file gives no odds at
// all, neither is known. A change happens when it begins, by the plan's wall time, waits included.
// Clock times are start + wall time, by calendar.h.
//
// Pure: no clock is read. CSV: a header, then every select of the job; fields are separated by ","
// and quoted as in RFC 4180 (section 2, 5 to 7), lines end in "\n"; a missing value is empty.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "job/job.h"
#include "plan/plan.h"
#include "report/calendar.h"
#include "report/finish.h"
#include "rules/rules.h"

namespace forewarm::report {

struct Summary;

struct Schedule {
  LocalTime start;
  std::vector<Away> away;         // empty: somebody is always at the machine
  std::int64_t within_s = kDayS;  // of the starts that are tried
  std::optional<LocalTime> done_by = {};
};

// Whether it is in hours away.
[[nodiscard]] bool away_at(const Schedule& schedule, LocalTime time);

// The starts that are tried are the given one and those at this distance, within
// Schedule::within_s.
constexpr std::int64_t kStartGridS = 15 * 60;
[[nodiscard]] std::vector<LocalTime> starts_of(const Schedule& schedule);

struct AtStart {
  LocalTime start;
  std::uint64_t exchanges_away = 0;
  std::optional<double> expected_stops_away;  // absent: not known; pauses among them
};

struct Attention {
  struct Change {
    double at_s = 0;  // wall
    bool exchanges = false;
    double expected_stops = 0;          // 0 where odds are not given
    double wait_s = 0, sequence_s = 0;  // as plan::ChangeDelay
    // What the filament before was printed at last, and what the one behind it is printed at first;
    // absent where there is none.
    std::optional<double> from_c, to_c;
    std::optional<plan::Treatment> treatment;  // of the gap that it ends, if it ends one
  };
  std::vector<Change> changes;  // as job.selects
  std::uint64_t exchanges = 0;
  std::vector<double> pauses;                            // wall: stops that are certain
  std::optional<double> expected_stops, chance_of_none;  // absent: not known
  // The longest stretch of the job, first of equals, in which nothing is exchanged: wall.
  double quiet_from_s = 0, quiet_to_s = 0;
  std::optional<AtStart> given, best;  // with hours away; best: fewest exchanges away, the first
};

// REQUIRES: the plan is of this job.
[[nodiscard]] Attention attention(const job::Job& job, const plan::Plan& plan,
                                  const rules::Rules& rules,
                                  const std::optional<Schedule>& schedule);

// All that may stop the job, in order: every stop of a report comes from here.
[[nodiscard]] std::vector<PossibleStop> possible_stops(const job::Job& job, const plan::Plan& plan,
                                                       const rules::Rules& rules);
// Nothing where no odds are given and nothing is certain to stop the job: then the end is not
// known. REQUIRES: the plan is of this job; away is not the whole day.
[[nodiscard]] std::optional<Finishing> finishing_of(const job::Job& job, const plan::Plan& plan,
                                                    const rules::Rules& rules,
                                                    const Schedule& schedule);

// How many exchanges happen in each hour of the clock, in order; hours without any are left out.
struct HourCount {
  std::string date;  // as calendar.h has it
  int hour = 0;
  std::uint64_t exchanges = 0;
};
[[nodiscard]] std::vector<HourCount> exchanges_by_hour(const Attention& attention, LocalTime start);

// The words of text and page.
[[nodiscard]] std::string odds_text(std::optional<double> x);    // "under 0.001", "not known"
[[nodiscard]] std::string chance_text(std::optional<double> x);  // "96.0 %", "not known"
[[nodiscard]] std::string spaced_minute(LocalTime time);         // "2027-03-05 18:00"
[[nodiscard]] std::string away_words(const Schedule& schedule);  // "22:00-07:00, 12:00-13:00"
// "within 24 h, in steps of 15 min"
[[nodiscard]] std::string words_within(const Schedule& schedule);
// The distribution of the end, a sentence each. REQUIRES: summary.finish.
[[nodiscard]] std::vector<std::string> finish_words(const Summary& summary);
extern const std::string_view kGiveOdds;  // what to do where odds are not known
constexpr std::size_t kDaysShown = 14;    // hour by hour

// Of the look-ahead plan.
[[nodiscard]] std::string attention_text(const Summary& summary);
[[nodiscard]] std::string changes_csv(const Summary& summary);  // ends in a newline

}  // namespace forewarm::report
