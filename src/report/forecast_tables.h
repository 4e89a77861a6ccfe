// The tables of a forecast, for its text and its page alike. Pure.
#pragma once

#include <span>

#include "report/figures.h"
#include "report/table.h"

namespace forewarm::report {

// What physics leaves, below rows of the figures of plans.
[[nodiscard]] Row bound_row(const Bound& bound);

[[nodiscard]] Table policy_table(const Summary& summary);
[[nodiscard]] Table toolhead_table(const Summary& summary);
[[nodiscard]] Table filament_table(const Summary& summary);  // without rows where none is known
// What the time goes to, by the look-ahead plan: a row for each cause, with its share ...
[[nodiscard]] Table cause_table(const Summary& summary);
// ... or causes side by side, and beneath what waiting is for.
[[nodiscard]] Table causes_across(const Summary& summary);
[[nodiscard]] Table waits_across(const Summary& summary);
[[nodiscard]] Table gap_table(const Summary& summary, std::span<const plan::GapPlan* const> gaps);

// Of a job with a schedule: exchanges by the hour, a row a day, no more than kDaysShown.
struct HourTable {
  Table table;
  bool more = false;  // days
};
[[nodiscard]] HourTable hour_table(const Attention& attention, LocalTime start);
// The start that was asked for, and a better one, if there is one. REQUIRES: attention.given.
[[nodiscard]] Table away_table(const Attention& attention, const Schedule& schedule);

}  // namespace forewarm::report
