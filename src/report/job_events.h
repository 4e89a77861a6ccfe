// What a calendar should hold of a job: when somebody has to come, and when it is done.
//
// Events are those of the look-ahead plan, at its wall times. A job is known by the name of its
// file: a job that is sliced anew under the same name takes the place of what it was. Pure.
#pragma once

#include <string>
#include <string_view>

#include "report/icalendar.h"
#include "report/report.h"

namespace forewarm::report {

// REQUIRES: summary.schedule.
[[nodiscard]] EventCalendar job_events(const Summary& summary);

// The file. `earlier` is what it held before, or empty. REQUIRES: summary.schedule.
[[nodiscard]] std::string calendar_of(const Summary& summary, std::string_view earlier);

}  // namespace forewarm::report
