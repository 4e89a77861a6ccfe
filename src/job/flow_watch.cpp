#include "job/flow_watch.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "base/error.h"

namespace forewarm::job {

void FlowWatch::use(std::size_t head, const rules::Toolhead& toolhead, double filament_mm2,
                    const motion::Limits& limits) {
  end_use();
  head_ = head;
  if (heads_.size() <= head_) heads_.resize(head_ + 1);
  watches_ = toolhead.max_flow_mm3_s.has_value();
  limit_mm3_s_ = toolhead.max_flow_mm3_s.value_or(0);
  filament_mm2_ = filament_mm2;
  pulled_mm_ = 0;
  this->limits(limits);
}

void FlowWatch::limits(const motion::Limits& limits) {
  flow_factor_ = limits.flow_factor;
  if (!watches_) {
    most2_ = kNoLimit;
    return;
  }
  const double most = limit_mm3_s_ / (filament_mm2_ * flow_factor_ * limits.speed_factor);
  most2_ = most * most;
}

void FlowWatch::feed(std::uint64_t first, std::uint64_t count, double mm, bool alone,
                     std::uint64_t line) {
  if (count == 0) return;
  const double back_mm = std::exchange(pulled_mm_, 0);
  if (alone) mm -= back_mm;
  if (mm <= 0) return;
  asked_.push_back({first, first + count, mm * flow_factor_ / double(count), line});
}

void FlowWatch::timed(std::uint64_t move, double start_s, double seconds) {
  while (!asked_.empty() && asked_.front().end <= move) asked_.pop_front();
  if (asked_.empty() || move < asked_.front().first) return;
  const Asked& asked = asked_.front();
  const double flow_mm3_s = asked.mm * filament_mm2_ / seconds;
  if (!(flow_mm3_s > limit_mm3_s_ * (1 + 1e-6))) return;
  if (start_s > stretch_.end_s + kPauseS) end_stretch();
  if (stretch_.line == 0) stretch_.line = asked.line;
  stretch_.seconds += seconds;
  stretch_.end_s = start_s + seconds;
  stretch_.most_mm3_s = std::max(stretch_.most_mm3_s, flow_mm3_s);
}

void FlowWatch::end_stretch() {
  const Stretch ended = std::exchange(stretch_, {});
  if (head_ == kNone || ended.seconds < kLeastS) return;
  Head& head = heads_[head_];
  if (head.line == 0) head.line = ended.line;
  head.seconds += ended.seconds;
  head.most_mm3_s = std::max(head.most_mm3_s, ended.most_mm3_s);
}

void FlowWatch::end_use() {
  if (head_ == kNone) {
    filament_s_ = 0;
    return;
  }
  end_stretch();
  asked_.clear();
  heads_[head_].filament_s += std::exchange(filament_s_, 0);
}

void FlowWatch::finish(const std::vector<rules::Toolhead>& heads, std::vector<Hint>& hints) {
  end_use();
  for (std::size_t h = 0; h < heads_.size(); ++h) {
    const Head& head = heads_[h];
    if (head.line == 0) continue;
    hints.push_back(
        {head.line,
         fmt::format("more is asked of \"{}\" than its max_flow_mm3_s = {:g}, here for the first "
                     "time: up to {:.3g} mm3/s, in {:.3g} % of the time that it moves filament",
                     printable(heads[h].name, 80), heads[h].max_flow_mm3_s.value_or(0),
                     head.most_mm3_s, 100 * head.seconds / head.filament_s)});
  }
}

}  // namespace forewarm::job
