// Places in the text of a job, as people speak of them: by layer, time and tool, and by the gaps
// and changes of a forecast, which are counted from 1.
//
// Gaps are counted in the order of Plan::gaps, changes in that of Job::tool_changes. Times are the
// plan's wall times. Everything said is plain ASCII. Pure.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "job/job.h"
#include "plan/plan.h"

namespace forewarm::report {

// Offsets in the text of the job, both included.
struct TextRange {
  std::uint64_t first = 0, last = 0;
  [[nodiscard]] bool touches(const TextRange& other) const {
    return first <= other.last && other.first <= last;
  }
};

class Places {
 public:
  // REQUIRES: the plan is of the job; both outlive this.
  Places(const job::Job& job, const plan::Plan& plan);

  // "layer 12, 3:05:12, T3 to T5, change 57", or less where less is known.
  [[nodiscard]] std::string words(const TextRange& range) const;
  // From the last filament that moves before the change to the first that moves after it, but no
  // further than to the changes before and after; of a redundant one, its line alone. REQUIRES: 1
  // <= number <= as many as there are.
  [[nodiscard]] TextRange change(std::size_t number) const { return changes_[number - 1]; }
  // Where a plan puts something in for a gap, or takes it out: in the order of the text.
  // REQUIRES: likewise.
  [[nodiscard]] std::vector<TextRange> gap(std::size_t number) const;

 private:
  [[nodiscard]] std::string tool_words(const TextRange& range) const;

  const job::Job& job_;
  const plan::Plan& plan_;
  std::vector<TextRange> changes_;
};

}  // namespace forewarm::report
