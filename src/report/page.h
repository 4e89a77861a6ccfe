// The style and the timeline of the HTML page.
//
// Contract: the HTML returned is well-formed and closes all of its elements; text from jobs in it
// is escaped().
#pragma once

#include <string>
#include <string_view>

#include "report/report.h"

namespace forewarm::report {

// A <section> that shows what each toolhead does over time, under the look-ahead plan. Bars
// narrower than a pixel are merged, so its size is bounded by toolheads times pixels, whatever the
// number of gaps.
[[nodiscard]] std::string timeline(const Summary& summary);

extern const std::string_view kStyle;

}  // namespace forewarm::report
