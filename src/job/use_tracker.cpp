#include "job/use_tracker.h"

#include <utility>

namespace forewarm::job {

namespace {

ChangeKind kind_of(const machine::Selected& s) {
  if (s.to == kNone) return ChangeKind::park;
  if (s.from == s.to) return s.exchange ? ChangeKind::filament : ChangeKind::redundant;
  if (s.exchange) return ChangeKind::both;
  return s.first ? ChangeKind::first : ChangeKind::toolhead;
}

}  // namespace

ToolChange UseTracker::select(int tool, bool& served) {
  ToolChange change;
  change.from_tool = changer_.tool();
  change.tool = tool;
  const machine::Selected selected = changer_.select(tool);
  served = selected.served;
  change.from_head = selected.from;
  change.head = selected.to;
  change.park_s = selected.park_s;
  change.pick_s = selected.pick_s;
  change.exchange_s = selected.exchange_s;
  change.out_tool = selected.out_tool;
  change.kind = kind_of(selected);
  return change;
}

void UseTracker::finish_change(const ToolChange& change, double filament_until_s) {
  const bool redundant = change.kind == ChangeKind::redundant;
  if (!redundant) {
    const bool exchanged_next = change.head == change.from_head;
    close_visit(change.from_head, change.from_tool, exchanged_next, filament_until_s);
    use_ = kNone;
  }
  job_.tool_changes.push_back(change);
  if (!redundant) last_change_ = job_.tool_changes.size() - 1;
}

// A visit in which no filament moved is a use if its filament was exchanged, or its heater waited
// for. A wait after the last movement may be for what is exchanged next.
void UseTracker::close_visit(std::size_t head, int tool, bool exchanged_next,
                             double filament_until_s) {
  const std::size_t wait = std::exchange(wait_of_visit_, kNone);
  if (use_ != kNone) {
    ToolUse& use = job_.uses[use_];
    use.last_end_s = filament_until_s;
    if (wait == kNone || exchanged_next || job_.targets[wait].at.offset < use.last_end) return;
    use.last_end = job_.targets[wait].end_offset;
    use.last_end_s = job_.targets[wait].at.time_s;
    return;
  }
  const bool exchanged = last_change_ != kNone && job_.tool_changes[last_change_].exchanges();
  if (!exchanged && wait == kNone) return;
  ToolUse use{.head = head, .tool = tool, .select = last_change_};
  if (wait != kNone) {
    const Target& target = job_.targets[wait];
    use.kind = ToolUse::Kind::waited;
    use.first = {target.end_offset, target.at.time_s};
    use.first_line = target.line;
  } else {
    const ToolChange& change = job_.tool_changes[last_change_];
    use.kind = ToolUse::Kind::exchanged;
    use.first = {change.end_offset, change.end_s};
    use.first_line = change.line;
  }
  use.last_end = use.extruded_end = use.first.offset;
  use.last_end_s = use.first.time_s;
  job_.uses.push_back(use);
}

void UseTracker::set_target(std::size_t head, const machine::Operation& operation,
                            const LineSpan& line, bool alone) {
  Target t;
  t.at = {line.offset, 0};
  t.end_offset = line.end_offset;
  t.line = line.number;
  t.head = head;
  t.has_temp = operation.temp_c.has_value();
  t.temp_c = operation.temp_c.value_or(0);
  t.waits = operation.waits;
  t.cooling = operation.waits_for_cooling;
  t.alone = alone;
  job_.targets.push_back(t);
  targets_.set(head, operation.temp_c);
  if (!t.waits || head != changer_.mounted()) return;
  // What is waited for until it has cooled down is no use.
  if (targets_.cools(head, operation.temp_c, t.cooling)) return;
  if (!targets_.is_hot(head, targets_[head].target_c)) return;
  targets_.wait(head);
  if (job_.start) wait_of_visit_ = job_.targets.size() - 1;
}

UseTracker::Filament UseTracker::move_filament(bool forwards, const LineSpan& line) {
  if (use_ != kNone) {
    go_on(forwards, line);
    return Filament::goes_on;
  }
  if (!forwards && changer_.mounted() == kNone) return Filament::cold;
  const std::size_t head = changer_.feeding();
  if (head == kNone) return Filament::unserved;
  const double before_off_c = forwards ? 0 : targets_[head].before_off_c;
  if (!targets_.begin_use(head, forwards)) return Filament::cold;
  ToolUse use{.head = head, .tool = changer_.tool(), .select = last_change_};
  use.kind = ToolUse::Kind::pulled;
  use.first = {line.offset, 0};
  use.first_line = line.number;
  use.extruded_end = line.offset;
  use.before_off_c = before_off_c;
  job_.uses.push_back(use);
  use_ = job_.uses.size() - 1;
  go_on(forwards, line);
  return Filament::begins;
}

}  // namespace forewarm::job
