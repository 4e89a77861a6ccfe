#include "check/machine_replay.h"

#include "machine/limits.h"

namespace forewarm::check {

MachineReplay::MachineReplay(const rules::Rules& rules, Heads& heads, Findings& findings)
    : changer_(heads),
      heaters_(rules, heads, findings),
      timer_(machine::initial_limits(rules.motion), *this, rules.motion.time_scale) {}

void MachineReplay::move_along(const gcode::Effect& e, gcode::Plane plane, std::uint64_t line) {
  motion::Move whole;
  whole.delta = e.delta;
  whole.feed_mm_s = e.feed_mm_s;
  motion::move_along(timer_, whole, *e.arc, plane, tag(line, e.delta[gcode::kE] != 0));
}

double MachineReplay::retraction_mm(bool forwards) const {
  return forwards ? limits().retract_mm : -limits().retract_mm;
}

void MachineReplay::firmware_retraction(bool forwards, std::uint64_t line) {
  const motion::Limits& limits = std::as_const(timer_).limits();
  motion::Move m;
  m.delta[gcode::kE] = retraction_mm(forwards);
  m.feed_mm_s = forwards ? limits.unretract_mm_s : limits.retract_mm_s;
  timer_.move(m, tag(line, true));
  // However far the firmware pulls, and be it nothing.
  used_until_here(line);
}

void MachineReplay::stop() {
  timer_.stop();
  settle(timer_.now_s());
  heaters_.lines().add(line_from_s_, now_s(), line_tag_ >> 1U);
  line_from_s_ = now_s();
}

void MachineReplay::pass(double seconds, std::uint64_t line) {
  const double from_s = now_s();
  timer_.pass(seconds);
  heaters_.lines().add(from_s, now_s(), line);
  line_from_s_ = now_s();
  line_tag_ = UINT64_MAX;
}

void MachineReplay::command(std::size_t head, const HeaterCommand& command) {
  if (command.waits) stop();
  add(Command{head, command});
  if (!command.waits) return;
  settle(timer_.now_s());
  line_from_s_ = now_s();
}

void MachineReplay::used_until_here(std::uint64_t line) {
  if (changer_.mounted() != kNone) add(UsedUntil{changer_.mounted(), line});
}

void MachineReplay::finish() {
  stop();
  heaters_.finish(now_s());
}

void MachineReplay::timed(std::span<const motion::Timed> moves) {
  for (const motion::Timed& m : moves) {
    if (!pending_.empty()) settle(m.start_s);
    const double end_s = m.start_s + m.seconds + waited_s_;
    if ((m.tag & 1U) != 0 && changer_.mounted() != kNone) {
      heaters_.fed_until(changer_.mounted(), end_s, m.tag >> 1U);
    }
    if (m.tag >> 1U != line_tag_ >> 1U) {
      heaters_.lines().add(line_from_s_, m.start_s + waited_s_, line_tag_ >> 1U);
      line_tag_ = m.tag;
      line_from_s_ = m.start_s + waited_s_;
    }
    ++delivered_;
  }
}

// `timer_s`: without waits, of which each command may add one.
void MachineReplay::settle(double timer_s) {
  pending_.settle(delivered_, [&](const Event& event) {
    std::visit([&](const auto& e) { happen(e, timer_s + waited_s_); }, event);
  });
}

void MachineReplay::happen(const Prelude& /*event*/, double at_s) { heaters_.prelude(at_s); }

void MachineReplay::happen(const Start& event, double at_s) {
  heaters_.start(at_s, event.with_prelude, event.printing);
}

void MachineReplay::happen(const Command& event, double at_s) {
  HeaterCommand command = event.command;
  command.at_s = at_s;
  waited_s_ += heaters_.command(event.head, command);
}

void MachineReplay::happen(const Heaters::Movement& event, double at_s) {
  heaters_.filament(at_s, event);
}

void MachineReplay::happen(const Heaters::MadeUp& event, double at_s) {
  heaters_.made_up(at_s, event);
}

void MachineReplay::happen(const InsertedFeed& event, double at_s) {
  heaters_.feed_inserted(at_s, event.head, event.line);
}

void MachineReplay::happen(const UsedUntil& event, double at_s) {
  heaters_.fed_until(event.head, at_s, event.line);
}

}  // namespace forewarm::check
