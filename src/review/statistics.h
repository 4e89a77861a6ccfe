// What the changes of a review tell, all prints together: which uses were on time, how long changes
// take by toolhead, and how often they stop.
//
// Pure. `add_statistics` fills in on_time, stats, odds and the counts of changes from
// Review::changes.
#pragma once

#include <vector>

#include "review/review.h"

namespace forewarm::review {

void add_statistics(const Schedule& schedule, const rules::Rules& rules, Review& review);

[[nodiscard]] Stat stat_of(Stat::Kind kind, std::size_t head, const std::vector<double>& took_s,
                           double rule_s);

}  // namespace forewarm::review
