// The parts of the HTML page that have files of their own: its style and its timeline.
//
// Contract: what is returned is well-formed, closes what it opens and holds nothing from a job that
// was not escaped().
#pragma once

#include <string>
#include <string_view>

#include "report/report.h"

namespace forewarm::report {

// What every toolhead does when, under the look-ahead plan: a <section>. Bars narrower than a pixel
// are merged, so its size is bounded by toolheads times pixels, whatever the number of gaps.
[[nodiscard]] std::string timeline(const Summary& summary);

extern const std::string_view kStyle;

}  // namespace forewarm::report
