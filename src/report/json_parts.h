// Parts that all JSON reports share: the same keys, the same rounding.
#pragma once

#include <nlohmann/json.hpp>
#include <span>
#include <string>

#include "job/job.h"
#include "plan/plan.h"
#include "report/figures.h"

namespace forewarm::report {

using Json = nlohmann::ordered_json;

// Every JSON begins with this: schema_version 1 (beginnings.h).
[[nodiscard]] Json json_begun();
[[nodiscard]] Json rounded(double x);  // to the thousandth; null if it is not finite
[[nodiscard]] Json job_json(const std::string& path, const job::Job& job);
// { path, hash }: the rule file's path as it was given, null for the built-in guesses; and `set`,
// the settings in place of its values, where there are any.
[[nodiscard]] Json rules_json(const rules::Rules& rules);
// Adds each figure under its key; null where it is not known.
template <class Values>
void add_figures(Json& json, std::span<const Figure<Values>> figures, const Values& values) {
  for (const Figure<Values>& figure : figures) {
    Json& at = json[std::string((*figure).key)];
    if (!figure.known(values)) continue;
    const double value = figure.value(values);
    at = figure.counts() ? Json(std::uint64_t(value)) : rounded(value);
  }
}
template <class Values>
[[nodiscard]] Json figures_json(std::span<const Figure<Values>> figures, const Values& values) {
  Json out = Json::object();
  add_figures(out, figures, values);
  return out;
}
// The text of a report: indented by two, valid UTF-8 without controls, ending in a newline.
[[nodiscard]] std::string written(const Json& json);

}  // namespace forewarm::report
