// What `review` found, as text, page, JSON and CSV.
//
// Pure. Names from records and rule files are made harmless.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "plan/trace.h"
#include "report/calibration.h"
#include "review/spools.h"
#include "review/suggest.h"
#include "review/temperatures.h"

namespace forewarm::report {

// The same job planned anew with the better values, and as it was, both replayed on a machine of
// the better values.
struct Bought {
  double duration_s = 0, wait_s = 0, hot_idle_s = 0;  // as it was printed
  double new_duration_s = 0, new_wait_s = 0, new_hot_idle_s = 0;
};

struct Reviewed {
  const rules::Rules& rules;  // that the job was rewritten by
  const review::Schedule& schedule;
  const review::Review& review;
  const std::vector<CalibratedRecord>& records;
  const std::vector<record::Calibration>& heaters;
  const std::vector<review::Suggestion>& suggestions;
  std::optional<Bought> bought;
  // Empty where the job's filaments have moved: whose spools they were, is not known.
  std::span<const review::SpoolUse> spools = {};
  std::size_t width = kTextWidth;  // of the text
  // For the page alone: what the plan's replay has, and what each record measured.
  const plan::Trace* trace = nullptr;
  std::span<const review::Temperatures> temperatures = {};
};

[[nodiscard]] std::string review_text(const Reviewed& r);
// The measured temperatures over those of the plan's replay, the actual changes and waits over the
// planned ones, what the records lack, and what the text says. REQUIRES: a trace, and temperatures
// of each record.
[[nodiscard]] std::string review_html(const Reviewed& r);
[[nodiscard]] std::string review_json(const Reviewed& r);
// One row a change.
[[nodiscard]] std::string review_csv(const Reviewed& r);

// The line of the last change that is known of a print which did not come to its end.
[[nodiscard]] std::optional<std::uint64_t> last_line(const Reviewed& r,
                                                     const review::PrintEnd& end);

// Why a use was late, in a sentence.
[[nodiscard]] std::string why_late(const Reviewed& r, const review::ChangeSeen& seen);

}  // namespace forewarm::report
