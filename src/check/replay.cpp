#include "check/replay.h"

#include <fmt/format.h>

#include <utility>

#include "check/dialect.h"

namespace forewarm::check {

using Side = LineContext::Side;

Replay::Replay(const rules::Rules& rules, Heads& heads, OriginalSide& original, Findings& findings)
    : rules_(rules),
      heads_(heads),
      original_(original),
      findings_(findings),
      machine_(rules, heads, findings),
      sequences_(rules, heads),
      removed_waits_(heads, findings) {}

void Replay::act(const InterpretedLine& line, gcode::Plane plane, const LineContext& at) {
  for (const Operation& operation : line.operations) perform(operation, line, plane, at);
}

void Replay::perform(const Operation& operation, const InterpretedLine& line, gcode::Plane plane,
                     const LineContext& at) {
  switch (operation.kind) {
    case Operation::Kind::layer:
    case Operation::Kind::purge_begin:
    case Operation::Kind::purge_end:
      return;
    case Operation::Kind::rest:
      return machine_.stop();
    case Operation::Kind::pass:
      return machine_.pass(operation.seconds, at.span);
    case Operation::Kind::select:
      return select(operation.tool, at);
    case Operation::Kind::set_target:
      return set_target(operation, at);
    case Operation::Kind::move:
      return move(line, plane, at);
    case Operation::Kind::set_limits:
      machine_.limits().take(line.words);
      return;
    case Operation::Kind::pause:
      if (at.side == Side::job) machine_.pause(at.line);
      return;
    case Operation::Kind::retract:
      return firmware_retraction(false, at);
    case Operation::Kind::unretract:
      return firmware_retraction(true, at);
  }
}

void Replay::unserved(const std::string& what, const LineContext& at) {
  if (at.side != Side::job) {
    findings_.add(Id::inserted_unknown, at.line, what);
    return;
  }
  error_ = Error{Error::Kind::refused, what};
  error_->line = at.line;
  error_->hint = "check with the rule file that the job was rewritten with";
}

// --- heaters ---

void Replay::set_target(const Operation& operation, const LineContext& at) {
  const std::size_t head = machine_.changer().head_of(operation.heater);
  if (head != kNone) {
    command(head, operation, at);
  } else if (!operation.by_pattern() && operation.temp_c.value_or(1) > 0) {
    unserved("no toolhead has the heater that this line sets", at);
  }
}

void Replay::command(std::size_t head, const Operation& operation, const LineContext& at,
                     bool for_least) {
  removed_waits_.command(head, operation.temp_c, operation.waits);
  changed_flag(head) = 1;
  HeaterCommand command;
  command.target_c = operation.temp_c;
  command.waits = operation.waits;
  command.cooling = operation.waits_for_cooling;
  command.for_least = for_least;
  command.inserted = at.side == Side::inserted;
  command.original_c = original_.target_c(head);
  command.steps = at.steps;
  command.span = at.span;
  command.line = at.line;
  machine_.command(head, command);
}

void Replay::remove_wait(std::size_t head, double temp_c, double before_c, bool cooling,
                         std::uint64_t line) {
  if (!original_.started() || !original_.is_hot(head, temp_c)) return;
  const bool mounted = head == original_.mounted();
  if (cooling && temp_c < original_.used_c(head) && (mounted || before_c > temp_c)) {
    findings_.add(Id::wait_lost, line,
                  fmt::format("{}: it is not waited for until it has cooled down to {:g} C",
                              printable(heads_[head].name), temp_c));
  } else if (mounted) {
    removed_waits_.remove({head, temp_c, line, moved_in_visit_});
  }
}

// --- changes of tool ---

void Replay::select(int tool, const LineContext& at) {
  const Selected selected = machine_.changer().select(tool);
  if (!selected.served) return unserved(fmt::format("no toolhead serves T{}", tool), at);
  if (selected.redundant) return;
  const std::size_t from = selected.from;
  const std::size_t to = selected.to;
  removed_waits_.visit_over();
  if (from != kNone) leave_after_exchange(from, at.line);
  sequences_.select(selected, tool, original_.started());
  only_exchanged_ = selected.exchange && original_.started();
  balance_.select(selected);
  machine_.select(selected, tool, to == kNone ? 0 : original_.target_c(to), at.line);
  fed_in_visit_ = moved_in_visit_ = false;
  original_.end_visit();
  if (to != kNone) changed_flag(to) = 1;
  if (from != kNone) changed_flag(from) = 1;
  machine_.pass(selected.seconds(), at.span);
}

// An exchange in a visit without feeding was that visit's use.
void Replay::leave_after_exchange(std::size_t head, std::uint64_t line) {
  if (!std::exchange(only_exchanged_, false)) return;
  sequence_wrong(line, sequences_.exchanged_only(head));
  const Sequences::MadeUp& made_up = sequences_.made_up();
  if (made_up.sequence == nullptr) return;
  machine_.made_up({head, made_up.sequence, made_up.mm, std::nullopt, line});
  machine_.stop();  // what comes is of another visit
}

// --- filament ---

void Replay::move(const InterpretedLine& line, gcode::Plane plane, const LineContext& at) {
  const gcode::Effect& e = line.effect;
  if (!e.arc) return move(e.delta, e.feed_mm_s, at);
  const double mm = e.delta[gcode::kE];
  if (mm != 0) move_filament(mm > 0, mm, at);
  machine_.move_along(e, plane, at.span);
}

void Replay::firmware_retraction(bool forwards, const LineContext& at) {
  move_filament(forwards, machine_.retraction_mm(forwards), at);
  machine_.firmware_retraction(forwards, at.line);
}

void Replay::move_filament(bool forwards, double mm, const LineContext& at) {
  ToolChanger& changer = machine_.changer();
  if (changer.mounted() == kNone && !forwards) return;
  const std::size_t head = changer.feeding();
  if (head == kNone) {
    return unserved("filament moves before any tool is selected, and no toolhead serves T0", at);
  }
  if (at.side == Side::inserted) return insert_filament(head, forwards, mm, at);
  const bool first_forwards = forwards && !fed_in_visit_;
  fed_in_visit_ |= forwards;
  // What the job pulls cold, it has asked for no heat for.
  const double original_c =
      forwards || moved_in_visit_ ? original_.target_c(head) : original_.pulled_at_c(head);
  const bool hot = original_.is_hot(head, original_c);
  if (!forwards && !hot && !moved_in_visit_) return;
  original_.use_at(head, original_c);
  removed_waits_.filament(head, moved_in_visit_);
  compare_tools(at.line);
  if (const auto mm_off = balance_.settle()) {
    findings_.add(Id::feed_unbalanced, at.line,
                  fmt::format("inserted lines have moved the filament by {:g} mm", *mm_off));
  }
  moved_in_visit_ = true;
  if (!changed(head) && !first_forwards) return;
  changed_flag(head) = 0;
  only_exchanged_ = false;
  // What is pulled after the heater was switched off is part of a use that was judged.
  if (hot || forwards) {
    sequence_wrong(at.line, sequences_.feeds(head, changer.tool(), original_.started(), hot));
    const Sequences::MadeUp& made_up = sequences_.made_up();
    if (made_up.sequence != nullptr) {
      machine_.made_up({head, made_up.sequence, made_up.mm, original_c, at.line});
    }
  }
  machine_.filament({.forwards = forwards,
                     .head = head,
                     .tool = changer.tool(),
                     .original_c = original_c,
                     .least_c = original_.take_lowest_c(head),
                     .was_waited_for = original_.wait_c() == original_c,
                     .line = at.line});
}

void Replay::insert_filament(std::size_t head, bool forwards, double mm, const LineContext& at) {
  mm *= std::as_const(machine_).limits().flow_factor;
  // What charges the filament that came in is not to come out again.
  const rules::Filament filament = rules_.filament(machine_.changer().tool());
  const bool charges = balance_.exchanged() && at.steps != nullptr &&
                       at.steps == rules_.sequence(filament.after_exchange);
  const bool makes_up = at.makes_up && at.steps != nullptr && at.steps->makes_up();
  if (!charges && !makes_up) balance_.move(mm);
  if (at.steps != nullptr) given_by_steps(head, mm, *at.steps, at.makes_up);
  if (forwards) machine_.feed_inserted(head, at.line);
}

void Replay::compare_tools(std::uint64_t line) {
  const int tool = machine_.changer().tool();
  if (tool == original_.tool() || tool == wrong_tool_) return;
  wrong_tool_ = tool;
  findings_.add(Id::extrusion_tool, line,
                fmt::format("fed by T{}, in the original by T{}", tool, original_.tool()));
}

// --- step sequences ---

void Replay::given_by_steps(std::size_t head, double fed_mm, const rules::Sequence& steps,
                            bool makes_up) {
  if (head == kNone) return;
  sequences_.step(head, steps, fed_mm, makes_up);
  changed_flag(head) = 1;
}

void Replay::finish_step(std::string_view code, const LineContext& at) {
  given_by_steps(machine_.changer().mounted(), 0, *at.steps);
  machine_.used_until_here(at.line);
  for (const rules::Step& step : at.steps->steps) {
    if (step.action != rules::Step::Action::gcode || bare(step.gcode) != bare(code)) continue;
    machine_.stop();
    machine_.pass(step.seconds, at.span);
    machine_.used_until_here(at.line);
    break;
  }
}

void Replay::finish(bool planned, std::uint64_t last_line) {
  machine_.stop();
  const std::size_t mounted = machine_.changer().mounted();
  if (mounted != kNone) leave_after_exchange(mounted, last_line);
  machine_.finish();
  if (!planned || !original_.started()) return;
  for (std::size_t h = 0; h < sequences_.heads(); ++h) sequence_wrong(0, sequences_.finish(h));
}

}  // namespace forewarm::check
