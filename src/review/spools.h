// What the prints of a record took from the spools.
//
// A print that came to its end took all that its job takes, inserted lines included. One of which
// nothing tells the end took what the job takes up to the last change that the record has: how far
// it went beyond that is not known. Without echoes, a print came to its end if the host sent its
// last select. A print that was counted before takes nothing again. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "job/job.h"
#include "review/review.h"
#include "rules/rules.h"

namespace forewarm::review {

struct SpoolUse {
  int tool = 0;
  std::string filament;
  double took_g = 0;                                // all prints together
  std::optional<double> spool_g = {}, left_g = {};  // by the rules; left: not below 0
};

// By tool. `printed`: the job as it was printed; `rules`: in which the spools are.
[[nodiscard]] std::vector<SpoolUse> spools_of(const Review& review, const job::Job& printed,
                                              const rules::Rules& rules);

}  // namespace forewarm::review
