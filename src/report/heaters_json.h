// Heaters as a record tells of them, in the JSON of `calibrate` and `review` alike.
#pragma once

#include <vector>

#include "record/calibrate.h"
#include "report/json_parts.h"

namespace forewarm::report {

[[nodiscard]] Json heaters_json(const std::vector<record::Calibration>& heaters,
                                const rules::Rules& rules);
// Six digits; null if it is not finite.
[[nodiscard]] Json number_json(double x);

}  // namespace forewarm::report
