// What rows of comparisons have in common: the columns of JSON and CSV, and differences in words.
#pragma once

#include <array>
#include <string>

#include "report/compare.h"
#include "report/json_parts.h"

namespace forewarm::report {

// The figures in which two plans are compared in words.
inline constexpr std::array<Figure<plan::Figures>, 4> kCompared{kPlanFigures[0], kPlanFigures[2],
                                                                kPlanFigures[3], kPlanFigures[4]};
static_assert(kCompared[0].quantity == &kDuration && kCompared[1].quantity == &kHotIdle &&
              kCompared[2].quantity == &kEnergy && kCompared[3].quantity == &kColdStarts);

// The fields of a row under the keys of JSON and CSV, in order; null where there is no value.
[[nodiscard]] Json fields_of(const CompareRow& row);
// Lists are joined by "; ". REQUIRES: no field is an object.
[[nodiscard]] std::string csv_line(const Json& fields);
[[nodiscard]] std::string csv_header(const Json& fields);

// The figure of `a` minus that of `b`; 0 where the difference is rounding.
[[nodiscard]] double more_of(const Figure<plan::Figures>& figure, const plan::Figures& a,
                             const plan::Figures& b);
[[nodiscard]] bool as_long(const plan::Figures& a, const plan::Figures& b);
[[nodiscard]] bool alike(const plan::Figures& a, const plan::Figures& b);
// How `a` differs from `b`: "4 min 10 s shorter, 3.2 Wh more, 1 cold start fewer".
[[nodiscard]] std::string difference(const plan::Figures& a, const plan::Figures& b);
// The shortest job first; of equally short ones that with the least energy.
[[nodiscard]] bool better(const plan::Figures& a, const plan::Figures& b);

}  // namespace forewarm::report
