// What a check found, for people and for programs.
//
// Text: FILE:LINE: id: message, a line each, then what each id means, then a summary, last the
// rules that it was checked by. JSON: { schema_version, rules, findings: [ { id, line, message } ],
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
// What the finding of that id means; of "all", every id with that. Kind `usage` where there is no
// such id, with the nearest one as a hint.
[[nodiscard]] Result<std::string> explanation(std::string_view id);

}  // namespace forewarm::report
