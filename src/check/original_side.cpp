#include "check/original_side.h"

#include <algorithm>

#include "thermal/hotend.h"

namespace forewarm::check {

bool OriginalSide::follow(const InterpretedLine& line, double now_s) {
  using Kind = Operation::Kind;
  if (!line.effect.moves) ending_.take(line.words, line.recognised_end());
  bool starts = false;
  for (const Operation& operation : line.operations) {
    if (operation.kind == Kind::select) (void)changer_.select(operation.tool);
    if (operation.kind == Kind::set_target) set_target(operation, now_s);
    if (operation.kind == Kind::unretract) starts |= feed(false);
    if (operation.kind == Kind::move && line.feeds()) starts |= feed(line.prints());
  }
  return starts;
}

// A target, a wait, or both. What is mounted and waited for is used at that, unless it has only to
// cool down.
void OriginalSide::set_target(const Operation& operation, double now_s) {
  const std::size_t head = changer_.head_of(operation.heater);
  if (head == kNone) return;
  if (operation.temp_c) {
    const double before_c = target_c(head);
    if (*operation.temp_c > before_c) drops_.erase(head);
    // What it drops from first counts: it may be on its way from there still.
    if (*operation.temp_c < before_c) drops_.emplace(head, Drop{now_s, before_c});
    targets_.set(head, operation.temp_c);
    lowest_c(head) = std::min(lowest_c(head), target_c(head));
  }
  if (!operation.waits || head != changer_.mounted() || !is_hot(head, target_c(head))) return;
  wait_c_ = target_c(head);
  if (operation.waits_for_cooling && target_c(head) < used_c(head)) return;
  targets_.wait(head);
}

bool OriginalSide::has_cooled(std::size_t head, double temp_c, double now_s) {
  const auto drop = drops_.find(head);
  if (drop == drops_.end() || target_c(head) > temp_c) return false;
  const double for_s = now_s - drop->second.at_s;
  return thermal::cooled_c(heads_[head].hotend, drop->second.from_c, for_s) <= temp_c;
}

}  // namespace forewarm::check
