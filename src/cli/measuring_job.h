// What `forewarm calibrate --make-job` does: writes the job of record/measuring_job.h.
//
// It gets the header of a rewritten job, so that it says which rules it was made with, and nothing
// else is inserted: `restore` gives the job without it. Its length is that of the job as the
// planner times it, waits included; commands that [dialect] writes its own way are timed as the
// plain ones. A file that holds anything but an earlier such job is not replaced.
#pragma once

#include "cli/commands.h"
#include "cli/context.h"

namespace forewarm::cli {

[[nodiscard]] int make_measuring_job(const Context& context, const CalibrateOptions& options);

}  // namespace forewarm::cli
