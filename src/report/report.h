// What a job will do and what each policy makes of it, for people and for programs.
//
// The JSON is design-stable: schema_version 1, keys as documented in README.md. Text and HTML show
// the same figures. Pure: values in, one string out; no clock, no file.
#pragma once

#include <optional>
#include <string>

#include "job/job.h"
#include "plan/plan.h"
#include "report/attention.h"
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
  std::optional<Schedule> schedule = {};  // without it there are no clock times
};

[[nodiscard]] std::string text(const Summary& summary);
[[nodiscard]] std::string json(const Summary& summary);  // ends in a newline
[[nodiscard]] std::string html(const Summary& summary);  // one self-contained page

}  // namespace forewarm::report
