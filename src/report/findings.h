// The report of a check, as text and as JSON.
//
// Text: a line FILE:LINE: id: message for each finding, then what each id means, a summary, and the
// rules of the check. JSON: { schema_version, rules, findings: [ { id, line, message } ],
// explain: { id: text }, left_out }. Text from jobs is made printable.
#pragma once

#include <string>
#include <string_view>

#include "check/check.h"
#include "rules/rules.h"

namespace forewarm::report {

[[nodiscard]] std::string findings_text(const check::Report& report, const std::string& name,
                                        const rules::Rules& rules);
[[nodiscard]] std::string findings_json(const check::Report& report, const rules::Rules& rules);
// What the finding `id` means; for "all", every id with its meaning. An unknown id is an error of
// kind `usage`, with the nearest id as a hint.
[[nodiscard]] Result<std::string> explanation(std::string_view id);

}  // namespace forewarm::report
