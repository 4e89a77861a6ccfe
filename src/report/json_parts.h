// What the JSON of a forecast and that of a comparison have in common: the same keys, the same
// rounding.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "job/job.h"
#include "plan/plan.h"
#include "report/figures.h"

namespace forewarm::report {

using Json = nlohmann::ordered_json;

[[nodiscard]] Json rounded(double x);  // to the thousandth; null if it is not finite
[[nodiscard]] Json job_json(const std::string& path, const job::Job& job);
[[nodiscard]] Json figures_json(const plan::Figures& figures);
[[nodiscard]] Json bound_json(const Bound& bound);
// As it is put out: indented by two, valid UTF-8 without controls, ending in a newline.
[[nodiscard]] std::string written(const Json& json);

}  // namespace forewarm::report
