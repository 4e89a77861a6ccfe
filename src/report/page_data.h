// What the page's script draws from: one JSON block, in short.
//
// Contract: config/page.schema.json describes it; JSON without "<", so it can stand in a page.
// Times are the plan's wall times. Long rows are arrays side by side, and those that only grow are
// written as differences, in hundredths of a second or whole degrees and watts, so that a job of
// 10,000 changes stays within a few megabytes. Text from jobs and rule files went through clean().
#pragma once

#include <string>

#include "report/picture.h"
#include "report/report.h"

namespace forewarm::report {

// REQUIRES: the picture is of the summary.
[[nodiscard]] std::string page_data(const Summary& summary, const Picture& picture);

}  // namespace forewarm::report
