// The still picture of the HTML page: for print, and where no script runs.
//
// Contract: the HTML returned is well-formed and closes all of its elements; text from jobs in it
// is escaped().
#pragma once

#include <string>

#include "report/picture.h"
#include "report/report.h"

namespace forewarm::report {

// What each toolhead does over time, under the look-ahead plan. Bars narrower than two points are
// put together by column, so its size is bounded by toolheads times columns, whatever the number of
// gaps. Empty if the job has no toolhead, or takes no time.
[[nodiscard]] std::string timeline(const Summary& summary, const Picture& picture);

}  // namespace forewarm::report
