#include "job/job_timer.h"

#include <algorithm>

#include "machine/limits.h"

namespace forewarm::job {

JobTimer::JobTimer(const rules::Motion& motion, Job& job)
    : job_(job), timer_(machine::initial_limits(motion), *this, motion.time_scale) {}

void JobTimer::stop_for_target(std::uint64_t line) {
  if (timer_.moves()) {
    if (through_) end_through();
    through_.emplace(timer_, deaf_);
    through_line_ = line;
    through_moves_ = 0;
  } else if (through_line_ != line) {
    through_.reset();  // motion rests here for two lines: each alone costs nothing
  }
  timer_.stop();
  settle();
  rest(line);
}

void JobTimer::go_through(const motion::Move& move) {
  through_->move(move, 0);
  if (++through_moves_ >= kAlike) end_through();
}

// Both are stopped here, the real one in a copy.
void JobTimer::end_through() {
  motion::MoveTimer stopped(timer_, deaf_);
  stopped.stop();
  through_->stop();
  const double rest_s = stopped.now_s() - through_->now_s();
  through_.reset();
  const auto target = std::find_if(job_.targets.rbegin(), job_.targets.rend(),
                                   [&](const Target& t) { return t.line <= through_line_; });
  if (target == job_.targets.rend() || target->line != through_line_) return;
  target->rest_s = std::max(0.0, rest_s);
}

void JobTimer::move_along(const gcode::Arc& arc, gcode::Plane plane,
                          const std::array<double, 4>& delta, double feed_mm_s,
                          std::uint64_t offset) {
  motion::Move whole;
  whole.delta = delta;
  whole.feed_mm_s = feed_mm_s;
  motion::move_along(timer_, whole, arc, plane, tag(offset, delta[gcode::kE] != 0));
  if (through_) {
    motion::move_along(*through_, whole, arc, plane, 0);
    if ((through_moves_ += motion::chords_of(arc)) >= kAlike) end_through();
  }
}

void JobTimer::firmware_retraction(bool forwards, std::uint64_t offset) {
  const motion::Limits& l = std::as_const(timer_).limits();
  motion::Move m;
  m.delta[gcode::kE] = forwards ? l.retract_mm : -l.retract_mm;
  m.feed_mm_s = forwards ? l.unretract_mm_s : l.retract_mm_s;
  timer_.move(m, tag(offset, true));
  if (through_) go_through(m);
}

void JobTimer::stop(std::uint64_t line) {
  if (through_) end_through();
  timer_.stop();
  settle();
  rest(line);
}

void JobTimer::rest(std::uint64_t line) {
  // A pattern of the rule file and the command itself may both ask for it.
  if (rested_line_ == line && rested_ == delivered_) return;
  rested_line_ = line;
  held_s_ = 0;
  const std::uint64_t held = std::min<std::uint64_t>(delivered_ - rested_, kHeldMoves);
  for (std::uint64_t i = delivered_ - held; i < delivered_; ++i) {
    held_s_ += latest_s_[i % kHeldMoves];
  }
  rested_ = delivered_;
}

void JobTimer::timed(std::span<const motion::Timed> moves) {
  for (const motion::Timed& m : moves) {
    if (!pending_.empty()) settle(m.start_s);
    const std::uint64_t offset = m.tag >> 1U;
    if (offset != last_offset_) {
      job_.index.add({offset, m.start_s});
      last_offset_ = offset;
      line_at_s_ = m.start_s;
    }
    // An arc is timed in pieces.
    takes({offset, line_at_s_}, m.start_s + m.seconds - line_at_s_);
    if ((m.tag & 1U) != 0) {
      filament_until_s_ = m.start_s + m.seconds;
      if (flow_.watches()) flow_.filament(m.seconds);
    }
    if (flow_.watches() && flow_.waits()) flow_.timed(delivered_, m.start_s, m.seconds);
    latest_s_[delivered_ % kHeldMoves] = m.seconds;
    ++delivered_;
  }
}

void JobTimer::settle(double time_s) {
  pending_.settle(delivered_, [&](const Untimed& untimed) {
    switch (untimed.field) {
      case Field::target:
        job_.targets[untimed.which].at.time_s = time_s;
        break;
      case Field::use_first:
        job_.uses[untimed.which].first.time_s = time_s;
        break;
      case Field::spool_end:
        job_.spool_ends[untimed.which].at.time_s = time_s;
        break;
      case Field::start:
        job_.start->time_s = time_s;
        break;
    }
  });
}

}  // namespace forewarm::job
