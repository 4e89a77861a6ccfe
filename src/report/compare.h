// The same job under several policies and thresholds, side by side.
//
// Rows: as sliced; firmware timers, at the rule file's off time and at usual ones; hold;
// look-ahead; then each sweep, one row a value, under the policy that its key concerns. All
// differences are between figures as the plans give them. Pure: values in, one string out.
//
// Text: a table, the differences to as-sliced, and sentences on the off timer and on each sweep.
// Page: a chart of bars for each figure, the bound drawn in, and of each sweep a chart of each
// figure over the values, with the tables and the answers of the text. JSON: { schema_version 1,
// job, rules, rows, bound }, keys as in comparing.md. CSV: a header, the rows with the same
// columns, and the bound as the last row; fields are separated by ",", lines end in "\n", a missing
// value is empty. No field ever needs quotes.
#pragma once

#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "job/job.h"
#include "plan/plan.h"
#include "report/figures.h"
#include "report/sweep.h"
#include "rules/rules.h"

namespace forewarm::report {

struct CompareRow {
  rules::Policy policy = rules::Policy::as_sliced;
  rules::GapSettings gap;  // by which it was planned
  std::string_view swept;  // the key that was swept; empty: none
  double value = 0;        // of that key
  plan::Figures figures;
};

// REQUIRES: job and rules outlive it; rows as compare() makes them, so that the first is as-sliced
// and each policy has a row by the rule file's own numbers.
struct Comparison {
  std::string path;
  const job::Job& job;
  const rules::Rules& rules;  // the rule file's
  std::vector<CompareRow> rows;
  Bound bound;  // of the rule file's own look-ahead plan
};

// Plans the job by rules that differ from the rule file's in [gap] alone.
using Planner = std::function<Result<plan::Plan>(const rules::Rules&, rules::Policy)>;

// The off times that have a row, in seconds, ascending: usual ones and the rule file's.
[[nodiscard]] std::vector<double> off_timers(const rules::GapSettings& gap);
// How many plans compare() asks for.
[[nodiscard]] std::size_t plans_needed(const rules::GapSettings& gap,
                                       std::span<const Sweep> sweeps);

// The first error of the planner is the comparison's.
[[nodiscard]] Result<Comparison> compare(std::string path, const job::Job& job,
                                         const rules::Rules& rules, std::span<const Sweep> sweeps,
                                         const Planner& planner);

[[nodiscard]] std::string text(const Comparison& comparison, std::size_t width = kTextWidth);
[[nodiscard]] std::string html(const Comparison& comparison);
[[nodiscard]] std::string json(const Comparison& comparison);  // ends in a newline
[[nodiscard]] std::string csv(const Comparison& comparison);   // ends in a newline

}  // namespace forewarm::report
