// The forecast of a job: what it will do, and what each policy makes of it.
//
// Text and page are for people and show the same figures. The JSON is for programs and stable:
// schema_version 1, keys as documented in reading-the-output.md. Pure: values in, one string out;
// no clock, no file.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "check/check.h"
#include "job/job.h"
#include "plan/plan.h"
#include "report/attention.h"
#include "report/format.h"
#include "rules/rules.h"

namespace forewarm::report {

// REQUIRES: the plans are of this job; all outlive the call.
struct Summary {
  std::string path;
  const job::Job& job;
  const rules::Rules& rules;
  const plan::Plan& as_sliced;
  const plan::Plan& timers;
  const plan::Plan& hold;
  const plan::Plan& lookahead;
  std::optional<Schedule> schedule = {};           // without it there are no clock times
  std::size_t width = kTextWidth;                  // of the text
  std::span<const job::SpoolEnd> spool_ends = {};  // spools.h
  std::optional<Finishing> finish = {};            // of the look-ahead plan, by the schedule
  bool colour = false;                             // in the text
  std::string_view version = {};                   // of the program
  const check::Report* checked = nullptr;          // of the rewritten job; nullptr: it did not run
};

struct Picture;
// With a picture, which has to be of the summary, there is a timeline in it.
[[nodiscard]] std::string text(const Summary& summary, const Picture* picture = nullptr);
[[nodiscard]] std::string json(const Summary& summary);  // ends in a newline
// One self-contained page. REQUIRES: the picture is of the summary.
[[nodiscard]] std::string html(const Summary& summary, const Picture& picture);

}  // namespace forewarm::report
