// The same job on several machines, or with several settings, side by side.
//
// A variant is a rule file, as it is or with settings in place of its values. Each has the job read
// and planned by its own rules and its own policy; the first is what the others are compared with.
// Pure: values in, one string out.
//
// Text: a table, the differences to the first, and which is shortest. Page: the same, and a chart
// of bars for each figure, the bound of each row drawn in. JSON: { schema_version 1,
// job, rules, rows, bound }, where job, rules and bound are the first's, and each row has its own
// rules and bound. CSV: a header, and the rows. Columns as in comparing.md.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "report/compare.h"

namespace forewarm::report {

// What exchanges and changes come to, which the rules decide as well.
struct VariantTotals {
  std::uint64_t exchanges = 0;
  double purge_g = 0;   // of all filaments
  double change_s = 0;  // parking, picking and exchanging
};
inline constexpr std::array<Figure<VariantTotals>, 3> kVariantFigures{
    {{&kExchanges, &VariantTotals::exchanges},
     {&kPurge, &VariantTotals::purge_g},
     {&kChangeTime, &VariantTotals::change_s}}};

struct Variant {
  rules::Rules rules;
  CompareRow row;
  VariantTotals totals;
  std::array<ChangeCount, 4> changes;
  Bound bound;
};
// REQUIRES: the job was scanned, and the plan made, by these rules and their policy.
[[nodiscard]] Variant variant(const job::Job& job, const rules::Rules& rules,
                              const plan::Plan& plan);

// REQUIRES: there is a row; the job is as the first reads it.
struct Variants {
  std::string path;
  job::Job job;
  std::vector<Variant> rows;
};

[[nodiscard]] std::string text(const Variants& variants, std::size_t width = kTextWidth);
[[nodiscard]] std::string html(const Variants& variants);
[[nodiscard]] std::string json(const Variants& variants);  // ends in a newline
[[nodiscard]] std::string csv(const Variants& variants);   // ends in a newline

}  // namespace forewarm::report
