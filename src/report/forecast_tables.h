// The tables of a forecast, for its text and its page alike. Pure.
#pragma once

#include <span>

#include "report/figures.h"
#include "report/table.h"

namespace forewarm::report {

// The physical bound, as the last row of a table of plans.
[[nodiscard]] Row bound_row(const Bound& bound);

[[nodiscard]] Table policy_table(const Summary& summary);
// Heating power against the limit; without rows where the rules set none.
[[nodiscard]] Table power_table(const Summary& summary);
[[nodiscard]] Table toolhead_table(const Summary& summary);
[[nodiscard]] Table filament_table(const Summary& summary);  // without rows where none is known
// The causes of the time that the look-ahead plan takes: a row for each, with its share ...
[[nodiscard]] Table cause_table(const Summary& summary);
// ... or causes side by side, and causes of waiting side by side.
[[nodiscard]] Table causes_across(const Summary& summary);
[[nodiscard]] Table waits_across(const Summary& summary);
[[nodiscard]] Table gap_table(const Summary& summary, std::span<const plan::GapPlan* const> gaps);

// Of some of the job's changes, by index.
[[nodiscard]] Table change_table(const Summary& summary, std::span<const std::size_t> which,
                                 bool exchanges);

// Of a job with a schedule: exchanges by the hour, a row a day, no more than kDaysShown.
struct HourTable {
  Table table;
  bool more = false;  // days
};
[[nodiscard]] HourTable hour_table(const Attention& attention, LocalTime start);
// The starts that finish.h tells apart. REQUIRES: a schedule, and summary.finish.
[[nodiscard]] Table finish_table(const Summary& summary);
// The given start and, if there is one, a better one. REQUIRES: attention.given.
[[nodiscard]] Table away_table(const Attention& attention, const Schedule& schedule);

}  // namespace forewarm::report
