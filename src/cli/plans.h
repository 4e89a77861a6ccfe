// Plans as commands need them, and the reports of a job under all policies.
#pragma once

#include <optional>
#include <string>

#include "check/check.h"
#include "cli/mapping.h"
#include "cli/outputs.h"
#include "job/job.h"
#include "plan/plan.h"
#include "report/attention.h"
#include "report/format.h"

namespace forewarm::cli {

// A plan that has passed its own invariants; a broken one is kind `internal`.
[[nodiscard]] Result<plan::Plan> make_plan(const job::Job& job, const rules::Rules& rules,
                                           rules::Policy policy);

// A job with what it was scanned from; with a mapping, the moved one.
struct Scanned {
  ByteSource& text;
  const job::Job& job;
  const rules::Rules& rules;
  const Mapping* mapping = nullptr;
};

// How reports show it.
struct Shown {
  std::size_t width = report::kTextWidth;  // of the text
  std::optional<report::Schedule> schedule = {};
  bool sheet = false;                      // the text is the load sheet
  bool page = false;                       // somebody wants it
  bool timeline = false;                   // in a text that is no load sheet
  bool colour = false;                     // likewise
  std::string earlier_ics = {};            // what the file of its events for a calendar held before
  std::string version = {};                // of the program
  const check::Report* checked = nullptr;  // of the rewritten job; nullptr: it did not run
};

// The job under all four policies, as text, JSON and, if it is wanted, page, its changes as CSV,
// and, with a schedule, its events for a calendar. Reads its text again where a spool runs out.
[[nodiscard]] Result<Reports> make_reports(const std::string& path, const Scanned& scanned,
                                           const Shown& shown);

}  // namespace forewarm::cli
