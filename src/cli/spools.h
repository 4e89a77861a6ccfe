// Where spools of a job run out: looked for in a second pass over the job, and only where some
// spool is too short for it.
#pragma once

#include <vector>

#include "base/bytes.h"
#include "cli/mapping.h"
#include "job/spools.h"
#include "plan/plan.h"

namespace forewarm::cli {

// `text`: what `job` was scanned from, by these rules. With a mapping, lines are the original's.
[[nodiscard]] Result<std::vector<job::SpoolEnd>> spool_ends(ByteSource& text, const job::Job& job,
                                                            const plan::Plan& plan,
                                                            const rules::Rules& rules,
                                                            const Mapping* mapping = nullptr);

}  // namespace forewarm::cli
