// What a diff shows of a job that is planned: hunk heads that people understand, and one place.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "cli/mapping.h"
#include "job/job.h"
#include "plan/plan.h"
#include "report/places.h"
#include "rewrite/diff.h"

namespace forewarm::cli {

// Says layer, time and tool of each hunk. `moved`: where the job has its filaments on other tools
// than the text that is compared. All has to outlive the view.
[[nodiscard]] rewrite::HunkView view_of(const report::Places& places, const SplicedSource* moved);

// One gap or one change. `number` as it was given.
struct AskedPlace {
  enum class Kind { gap, change } kind = Kind::gap;
  std::string number;
};
// Lets only that be shown. Errors: `usage` where there is none of that number.
[[nodiscard]] Status show_only(rewrite::HunkView& view, const AskedPlace& place,
                               const report::Places& places, const job::Job& job,
                               const plan::Plan& plan, const SplicedSource* moved);

}  // namespace forewarm::cli
