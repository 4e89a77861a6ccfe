// The report of a check, as text and as JSON.
//
// Text: a line FILE:LINE: id: message for each finding, then what each id means, a summary, and the
// rules of the check. JSON: { schema_version, rules, findings: [ { id, line, message } ],
// explain: { id: text }, left_out }. Text from jobs is made printable.
#pragma once

#include <set>
#include <string>
#include <string_view>

#include "check/check.h"
#include "report/json_parts.h"
#include "rules/rules.h"

namespace forewarm::report {

[[nodiscard]] std::string findings_text(const check::Report& report, const std::string& name,
                                        const rules::Rules& rules);
[[nodiscard]] std::string findings_json(const check::Report& report, const rules::Rules& rules);
// { findings, explain, left_out }, as that JSON has them.
[[nodiscard]] Json found_json(const check::Report& report);
// "no findings", "2 findings": those that are not listed count, too.
[[nodiscard]] std::string found_count(const check::Report& report);
// "no findings: 1200 extruding moves compared, ..."
[[nodiscard]] std::string found_words(const check::Report& report);
// The ids that were found, each once.
[[nodiscard]] std::set<check::Id> ids_of(const check::Report& report);
// Every id with its meaning, a line each.
[[nodiscard]] std::string all_findings_text();

}  // namespace forewarm::report
