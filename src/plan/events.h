// What the heaters are told, in the order of the text: a plan's commands, and what it leaves of the
// job's own; with where gaps begin and end. For simulate.h.
#pragma once

#include <vector>

#include "plan/layout.h"
#include "plan/plan.h"
#include "plan/simulate.h"

namespace forewarm::plan {

// `parked`: which of `breaks` are gaps, in the order in which events number them.
[[nodiscard]] std::vector<Event> events_of(const job::Job& job, const std::vector<Break>& breaks,
                                           const std::vector<std::size_t>& parked,
                                           const Plan& plan);

}  // namespace forewarm::plan
