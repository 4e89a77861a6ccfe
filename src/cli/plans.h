// Scanning and planning as commands need it: progress on a terminal, notes, reports.
#pragma once

#include <optional>
#include <string>

#include "cli/context.h"
#include "job/job.h"
#include "plan/plan.h"
#include "report/attention.h"

namespace forewarm::cli {

[[nodiscard]] Result<job::Job> scan_job(const Context& context, ByteSource& source,
                                        const rules::Rules& rules, const std::string& name);

// A plan that has passed its own invariants; a broken one is kind `internal`.
[[nodiscard]] Result<plan::Plan> make_plan(const job::Job& job, const rules::Rules& rules,
                                           rules::Policy policy);

struct Reports {
  std::string text, json, html, csv;  // csv: the changes
};
// The job under all four policies, as text, JSON and page.
[[nodiscard]] Result<Reports> make_reports(
    const std::string& path, const job::Job& job, const rules::Rules& rules,
    const std::optional<report::Schedule>& schedule = std::nullopt);

// A report that would overwrite the job it is about is a mistake: kind `usage`.
[[nodiscard]] Status not_the_job(const std::string& report, const std::string& job);

// Writes a report to FILE; "-" is standard output.
[[nodiscard]] Status write_report(const std::string& file, const std::string& text,
                                  io::FdSink& standard_output);

}  // namespace forewarm::cli
