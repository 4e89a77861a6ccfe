// The report of an assignment of filaments to tools, as text and as JSON.
//
// Text: what the changes cost before and after, then which filament to load where. JSON: {
// schema_version, rules, by, unit, baseline, best { map, ... }, filaments [] }, keys as documented
// in assign/assigning.md. Pure; names are made printable.
#pragma once

#include <string>

#include "assign/assign.h"
#include "report/format.h"
#include "rules/matrix.h"
#include "rules/rules.h"

namespace forewarm::report {

// REQUIRES: the assignment answers the problem; all outlive the call.
struct AssignmentSummary {
  std::string path;
  const rules::Rules& rules;
  const assign::Problem& problem;
  const assign::Assignment& assignment;
  const rules::Matrix* matrix = nullptr;  // if one was given
  std::size_t width = kTextWidth;         // of the text
};

[[nodiscard]] std::string assignment_text(const AssignmentSummary& summary);
[[nodiscard]] std::string assignment_json(const AssignmentSummary& summary);  // ends in a newline

}  // namespace forewarm::report
