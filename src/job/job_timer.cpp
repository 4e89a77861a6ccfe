#include "job/job_timer.h"

#include "machine/limits.h"

namespace forewarm::job {

JobTimer::JobTimer(const rules::Motion& motion, Job& job)
    : job_(job), timer_(machine::initial_limits(motion), *this, motion.time_scale) {}

void JobTimer::move_along(const gcode::Arc& arc, gcode::Plane plane,
                          const std::array<double, 4>& delta, double feed_mm_s,
                          std::uint64_t offset) {
  motion::Move whole;
  whole.delta = delta;
  whole.feed_mm_s = feed_mm_s;
  motion::move_along(timer_, whole, arc, plane, tag(offset, delta[gcode::kE] != 0));
}

void JobTimer::firmware_retraction(bool forwards, std::uint64_t offset) {
  const motion::Limits& l = std::as_const(timer_).limits();
  motion::Move m;
  m.delta[gcode::kE] = forwards ? l.retract_mm : -l.retract_mm;
  m.feed_mm_s = forwards ? l.unretract_mm_s : l.retract_mm_s;
  timer_.move(m, tag(offset, true));
}

void JobTimer::stop() {
  timer_.stop();
  settle();
}

void JobTimer::timed(std::span<const motion::Timed> moves) {
  for (const motion::Timed& m : moves) {
    if (!pending_.empty()) settle(m.start_s);
    const std::uint64_t offset = m.tag >> 1U;
    if (offset != last_offset_) {
      job_.index.add({offset, m.start_s});
      last_offset_ = offset;
    }
    if ((m.tag & 1U) != 0) {
      filament_until_s_ = m.start_s + m.seconds;
      flow_.filament(m.seconds);
    }
    if (flow_.waits()) flow_.timed(delivered_, m.start_s, m.seconds);
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
      case Field::start:
        job_.start->time_s = time_s;
        break;
    }
  });
}

}  // namespace forewarm::job
