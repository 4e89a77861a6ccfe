#include "check/replay.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "machine/limits.h"

namespace forewarm::check {

Replay::Replay(const rules::Rules& rules, const Options& options)
    : rules_(rules),
      options_(options),
      heads_(rules),
      original_mount_(heads_),
      mount_(heads_),
      sequences_(rules, heads_),
      heaters_(rules, heads_, report_.findings),
      clock_(machine::initial_limits(rules.motion), *this, rules.motion.time_scale) {}

void Replay::timed(std::span<const motion::Timed> moves) {
  for (const motion::Timed& m : moves) {
    settle(delivered_, m.start_s);
    const double end_s = m.start_s + m.seconds + waited_s_;
    if ((m.tag & 1U) != 0 && mount_.mounted() != kNone) {
      heaters_.fed_until(mount_.mounted(), end_s, m.tag >> 1U);
    }
    if (m.tag >> 1U != long_tag_ >> 1U) {
      heaters_.lines().add(long_from_s_, m.start_s + waited_s_, long_tag_ >> 1U);
      long_tag_ = m.tag;
      long_from_s_ = m.start_s + waited_s_;
    }
    ++delivered_;
  }
}

void Replay::want(std::size_t head, double temp_c) {
  const double ambient_c = heads_[head].hotend.ambient_c;
  if (temp_c <= ambient_c && wanted(head) > ambient_c) let_go_[head] = wanted(head);
  if (temp_c > ambient_c) let_go_.erase(head);
  if (temp_c > wanted(head)) dropped_.erase(head);
  // What it drops from first counts: it may be on its way from there still.
  if (temp_c < wanted(head)) {
    dropped_.emplace(head, Dropped{clock_.now_s() + waited_s_, wanted(head)});
  }
  wanted(head) = temp_c;
}

double Replay::wanted_of_pull(std::size_t head) {
  const auto it = let_go_.find(head);
  return it == let_go_.end() ? wanted(head) : it->second;
}

void Replay::original_target(std::size_t head, std::optional<double> temp_c, bool waits,
                             bool cooling) {
  if (head == kNone) return;
  if (temp_c) {
    want(head, std::max(0.0, *temp_c));
    lowest(head) = std::min(lowest(head), wanted(head));
    fresh(head) = true;
  }
  const bool heated = wanted(head) > heads_[head].hotend.ambient_c;
  if (!waits || !heated || head != original_mount_.mounted()) return;
  original_wait_c_ = wanted(head);
  if (!cooling || wanted(head) >= used_c(head)) used_c(head) = wanted(head);
}

void Replay::step_given(std::size_t head, double fed_mm) {
  if (head == kNone) return;
  sequences_.step(head, *steps_, fed_mm);
  fresh(head) = 1;
}

void Replay::give(std::size_t head, std::optional<double> temp, bool waits, bool cooling,
                  bool inserted) {
  if (waits) stop();
  if (temp && *temp < waited(head)) waited(head) = 0;
  if (waits && temp) waited(head) = *temp;
  if (lost_wait_ && lost_wait_->head == head && waited(head) >= lost_wait_->temp_c) {
    lost_wait_.reset();
  }
  Event e;
  e.kind = Event::Kind::order;
  e.head = head;
  e.order.target_c = temp ? std::optional(std::max(0.0, *temp)) : std::nullopt;
  e.order.waits = waits;
  e.order.cooling = cooling;
  e.order.inserted = inserted;
  e.order.wanted_c = wanted(head);
  e.order.steps = steps_;
  e.order.span = line_tag();
  e.order.line = number_;
  fresh(head) = true;
  put(e);
  if (!waits) return;
  settle(delivered_, clock_.now_s());
  long_from_s_ = clock_.now_s() + waited_s_;
}

void Replay::wait_removed(std::size_t head, double temp_c, double before_c, bool cooling) {
  if (!original_started_ || head == kNone || temp_c <= heads_[head].hotend.ambient_c) return;
  const bool mounted = head == original_mount_.mounted();
  if (cooling && temp_c < used_c(head) && (mounted || before_c > temp_c)) {
    say(Id::wait_lost, number_,
        fmt::format("{}: it is not waited for until it has cooled down to {:g} C",
                    printable(heads_[head].name), temp_c));
  } else if (mounted && waited(head) < temp_c) {
    lost_wait_ = {head, temp_c, number_, moved_in_visit_};
  }
}

bool Replay::has_cooled(std::size_t head, double temp_c) {
  const auto it = dropped_.find(head);
  if (it == dropped_.end() || wanted(head) > temp_c) return false;
  const double for_s = clock_.now_s() + waited_s_ - it->second.at_s;
  return thermal::cooled_c(heads_[head].hotend, it->second.from_c, for_s) <= temp_c;
}

void Replay::visit_over() {
  if (!lost_wait_) return;
  if (lost_wait_->after_use) {
    lost_waits_.push_back(*lost_wait_);
  } else {
    wait_lost(*lost_wait_);
  }
  lost_wait_.reset();
}

void Replay::wait_lost(const Lost& lost) {
  say(Id::wait_lost, lost.line,
      fmt::format("{}: nothing waits for {:g} C in its place", printable(heads_[lost.head].name),
                  lost.temp_c));
}

// Before filament moves the wait for that is judged. Those that were lost after the use before may
// have been after the last one, for all that was known then.
void Replay::settle_lost_waits(std::size_t head) {
  if (lost_wait_ && lost_wait_->head == head && !moved_in_visit_) lost_wait_.reset();
  for (const Lost& lost : lost_waits_) {
    if (lost.head == head) wait_lost(lost);
  }
  std::erase_if(lost_waits_, [head](const Lost& lost) { return lost.head == head; });
}

void Replay::act(const InterpretedLine& line, Side side) {
  for (const Operation& operation : line.operations) perform(operation, line, side);
}

void Replay::perform(const Operation& operation, const InterpretedLine& line, Side side) {
  switch (operation.kind) {
    case Operation::Kind::layer:
    case Operation::Kind::purge_begin:
    case Operation::Kind::purge_end:
      return;
    case Operation::Kind::rest:
      return stop();
    case Operation::Kind::pass:
      return pass(operation.seconds);
    case Operation::Kind::select:
      return select(operation.tool, side);
    case Operation::Kind::set_target:
      return set_target(operation, side);
    case Operation::Kind::move:
      return move(line, side);
    case Operation::Kind::set_limits:
      clock_.limits().take(line.words);
      return;
    case Operation::Kind::retract:
      return firmware_retraction(false, side);
    case Operation::Kind::unretract:
      return firmware_retraction(true, side);
  }
}

void Replay::set_target(const Operation& operation, Side side) {
  const std::size_t head = mount_.head_of(operation.heater);
  if (head != kNone) {
    give(head, operation.temp_c, operation.waits, operation.waits_for_cooling,
         side == Side::inserted);
  } else if (!operation.by_pattern() && operation.temp_c.value_or(1) > 0) {
    unserved("no toolhead has the heater that this line sets", side);
  }
}

void Replay::unserved(const std::string& what, Side side) {
  if (side != Side::job) {
    say(Id::inserted_unknown, number_, what);
    return;
  }
  error_ = Error{Error::Kind::refused,
                 what,
                 options_.rewritten_name,
                 number_,
                 0,
                 "",
                 "check with the rule file that the job was rewritten with"};
}

void Replay::select(int tool, Side side) {
  const Selected s = mount_.select(tool);
  if (!s.served) {
    unserved(fmt::format("no toolhead serves T{}", tool), side);
    return;
  }
  if (s.redundant) return;
  visit_over();
  if (s.from != kNone && s.from != s.to) part(s.from);
  if (s.to != kNone && s.from == s.to) part(s.to);
  sequences_.select(s, tool, original_started_);
  exchange_only_ = s.exchange && original_started_;
  balance_at_select(s);
  heaters_.select(clock_.now_s() + waited_s_, s, tool, s.to == kNone ? 0 : wanted(s.to), number_);
  fed_in_visit_ = moved_in_visit_ = false;
  original_wait_c_.reset();
  if (s.to != kNone) fresh(s.to) = true;
  if (s.from != kNone) fresh(s.from) = true;
  pass(s.seconds());
}

// An exchange in a visit without feeding was that visit's use.
void Replay::part(std::size_t head) {
  if (!exchange_only_) return;
  exchange_only_ = false;
  if (std::string wrong = sequences_.exchanged_only(head); !wrong.empty()) {
    say(Id::sequence_wrong, number_, std::move(wrong));
  }
}

void Replay::pass(double seconds) {
  const double from_s = clock_.now_s() + waited_s_;
  clock_.pass(seconds);
  heaters_.lines().add(from_s, clock_.now_s() + waited_s_, line_tag());
  long_from_s_ = clock_.now_s() + waited_s_;
  long_tag_ = UINT64_MAX;
}

void Replay::feed(bool forwards, double mm, Side side) {
  if (mount_.mounted() == kNone && !forwards) return;
  const std::size_t head = mount_.feeding();
  if (head == kNone) {
    unserved("filament moves before any tool is selected, and no toolhead serves T0", side);
    return;
  }
  const auto event = [&](Event::Kind kind) {
    Event e;
    e.kind = kind;
    e.head = head;
    e.tool = mount_.tool();
    e.order.line = number_;
    return e;
  };
  if (side == Side::inserted) {
    mm *= std::as_const(clock_).limits().flow_factor;
    // What charges the filament that came in is not to come out again.
    const bool charges = exchanged_ && steps_ != nullptr &&
                         steps_ == rules_.sequence(rules_.filament(mount_.tool()).after_exchange);
    if (!charges) fed_in_blocks_ += mm;
    if (steps_ != nullptr) step_given(head, mm);
    if (!forwards) return;
    Event e = event(Event::Kind::feeds_inserted);
    put(e);
    return;
  }
  const bool first_forwards = forwards && !fed_in_visit_;
  fed_in_visit_ |= forwards;
  // What the job pulls cold, it has asked for no heat for.
  const double wanted_c = forwards || moved_in_visit_ ? wanted(head) : wanted_of_pull(head);
  const bool hot = wanted_c > heads_[head].hotend.ambient_c;
  if (!forwards && !hot && !moved_in_visit_) return;
  used_c(head) = wanted_c;
  if (lost_wait_ || !lost_waits_.empty()) settle_lost_waits(head);
  if (mount_.tool() != original_mount_.tool() && mount_.tool() != wrong_tool_) {
    wrong_tool_ = mount_.tool();
    say(Id::extrusion_tool, number_,
        fmt::format("fed by T{}, in the original by T{}", mount_.tool(), original_mount_.tool()));
  }
  if (fed_in_blocks_ != 0) balance();
  moved_in_visit_ = true;
  if (fresh(head) == 0 && !first_forwards) return;
  fresh(head) = 0;
  exchange_only_ = false;
  // What is pulled after the heater was let go of is part of a use that was judged.
  if (hot || forwards) {
    std::string wrong = sequences_.feeds(head, mount_.tool(), original_started_, hot);
    if (!wrong.empty()) say(Id::sequence_wrong, number_, std::move(wrong));
  }
  Event e = event(forwards ? Event::Kind::feeds : Event::Kind::pulls);
  // What is not the job's has no wish of its own.
  e.wanted_c = wanted_c;
  e.least_c = std::exchange(lowest(head), 1e9);
  e.was_waited_for = original_wait_c_ == wanted_c;
  put(e);
}

void Replay::balance() {
  const bool good = exchanged_ ? fed_in_blocks_ > -1e-6 : std::abs(fed_in_blocks_) <= 1e-6;
  if (!good) {
    say(Id::feed_unbalanced, number_,
        fmt::format("lines put in have moved the filament by {:g} mm", fed_in_blocks_));
  }
  fed_in_blocks_ = 0;
  exchanged_ = false;
}

void Replay::balance_at_select(const Selected& s) {
  if (s.from != kNone && s.from != s.to) {
    tucked(s.from) += fed_in_blocks_;
    fed_in_blocks_ = 0;
  }
  if (s.to == kNone) return;
  if (s.from != s.to) fed_in_blocks_ = std::exchange(tucked(s.to), 0);
  exchanged_ = s.exchange;
  if (s.exchange) fed_in_blocks_ = 0;
}

void Replay::move(const InterpretedLine& line, Side side) {
  const gcode::Effect& e = line.effect;
  if (!e.arc) return move(e.delta, e.feed_mm_s, side);
  const double mm = e.delta[gcode::kE];
  if (mm != 0) feed(mm > 0, mm, side);
  motion::Move m;
  m.delta = e.delta;
  m.feed_mm_s = e.feed_mm_s;
  motion::move_along(clock_, m, *e.arc, state_.plane, tag_of(mm));
}

void Replay::move(const std::array<double, 4>& way, double feed_mm_s, Side side) {
  const double mm = way[gcode::kE];
  if (mm != 0) feed(mm > 0, mm, side);
  clock_.move({way, motion::Move::kStraight, feed_mm_s}, tag_of(mm));
}

void Replay::firmware_retraction(bool forwards, Side side) {
  const motion::Limits& l = std::as_const(clock_).limits();
  motion::Move m;
  m.delta[gcode::kE] = forwards ? l.retract_mm : -l.retract_mm;
  m.feed_mm_s = forwards ? l.unretract_mm_s : l.retract_mm_s;
  feed(forwards, m.delta[gcode::kE], side);
  clock_.move(m, number_ << 1U | 1U);
  // However far the firmware pulls, and be it nothing.
  if (mount_.mounted() != kNone) used_until_here();
}

void Replay::used_until_here() {
  Event used;
  used.kind = Event::Kind::used;
  used.head = mount_.mounted();
  used.order.line = number_;
  put(used);
}

void Replay::settle(std::uint64_t moves, double time_s) {
  while (!pending_.empty() && pending_.front().after <= moves) {
    Event e = std::move(pending_.front());
    pending_.pop_front();
    const double at_s = time_s + waited_s_;
    switch (e.kind) {
      case Event::Kind::start:
        heaters_.start(at_s, e.with_prelude, e.head);
        break;
      case Event::Kind::prelude:
        heaters_.prelude(at_s);
        break;
      case Event::Kind::order: {
        e.order.at_s = at_s;
        waited_s_ += heaters_.order(e.head, e.order);
        break;
      }
      case Event::Kind::feeds:
      case Event::Kind::pulls:
        heaters_.filament(at_s, {e.kind == Event::Kind::feeds, e.head, e.tool, e.wanted_c,
                                 e.least_c, e.was_waited_for, e.order.line});
        break;
      case Event::Kind::used:
        heaters_.fed_until(e.head, at_s, e.order.line);
        break;
      case Event::Kind::feeds_inserted:
        heaters_.feed_inserted(at_s, e.head, e.order.line);
        break;
    }
  }
}

void Replay::stop() {
  clock_.stop();
  settle(delivered_, clock_.now_s());
  heaters_.lines().add(long_from_s_, clock_.now_s() + waited_s_, long_tag_ >> 1U);
  long_from_s_ = clock_.now_s() + waited_s_;
}

void Replay::finish() {
  stop();
  const double end_s = clock_.now_s() + waited_s_;
  heaters_.finish(end_s);
  if (exchange_only_ && mount_.mounted() != kNone) part(mount_.mounted());
  const bool planned = original_started_ && marked_;
  for (std::size_t h = 0; planned && h < sequences_.heads(); ++h) {
    if (std::string wrong = sequences_.finish(h); !wrong.empty()) {
      say(Id::sequence_wrong, 0, std::move(wrong));
    }
  }
  report_.duration_s = end_s;
  report_.wait_s = waited_s_;
}

}  // namespace forewarm::check
