// Sections of the job's page that show figures as bars: what each policy costs, where time and
// filament go, changes by kind, and exchanges by the hour of the clock.
//
// Contract: each function returns HTML that is whole and closes what it opens; empty, where there
// is nothing to show. Every figure is the one that JSON and text have, by the same lists
// (figures.h, spools.h, attention.h). Nothing is told by colour alone: each bar has its number in
// its row, and parts differ in height. No script, no style attribute; text from jobs and rule files
// is escaped(). Pure.
#pragma once

#include <string>
#include <vector>

#include "report/attention.h"
#include "report/report.h"
#include "report/table.h"

namespace forewarm::report {

// A table for each figure, a bar for each policy, the physical bound drawn across where there is
// one.
[[nodiscard]] std::vector<Table> policy_bars(const Summary& summary);
[[nodiscard]] std::string policy_section(const Summary& summary);

// The table of causes with their shares as bars, each from where the one above ends; in the last
// row they stand side by side. They add up to the duration of the look-ahead plan.
[[nodiscard]] Table time_bars(const Summary& summary);
[[nodiscard]] std::string time_section(const Summary& summary);

// Part and purge by cause, of each spool (spools.h); without rows where nothing is fed.
[[nodiscard]] Table filament_bars(const Summary& summary);
[[nodiscard]] std::string filament_section(const Summary& summary);

// How many changes there are of each kind, and what they take, without waits and sequences.
[[nodiscard]] Table kind_bars(const Summary& summary);
[[nodiscard]] std::string kind_section(const Summary& summary);

// A row for each day on which the job runs, kDaysShown at most, with 24 hours: how many exchanges
// come in each, and whether it lies in hours away. Empty without exchanges.
[[nodiscard]] std::string hour_calendar(const Summary& summary, const Attention& attention);

}  // namespace forewarm::report
