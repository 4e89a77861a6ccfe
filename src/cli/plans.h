// Plans as commands need them, and the reports of a job under all policies.
#pragma once

#include <optional>
#include <string>

#include "cli/outputs.h"
#include "job/job.h"
#include "plan/plan.h"
#include "report/attention.h"

namespace forewarm::cli {

// A plan that has passed its own invariants; a broken one is kind `internal`.
[[nodiscard]] Result<plan::Plan> make_plan(const job::Job& job, const rules::Rules& rules,
                                           rules::Policy policy);

// The job under all four policies, as text of that width, JSON and page, and its changes as CSV.
[[nodiscard]] Result<Reports> make_reports(
    const std::string& path, const job::Job& job, const rules::Rules& rules, std::size_t width,
    const std::optional<report::Schedule>& schedule = std::nullopt);

}  // namespace forewarm::cli
