#include "check/heaters.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/error.h"

namespace forewarm::check {

namespace {

constexpr double kColdC = 1.0;  // colder than this below what is wanted is cold

}  // namespace

// The same where waits are over before the target itself is reached.
double Heaters::cold_c(std::size_t head) const {
  return kColdC + std::max(heads_[head].hotend.reached_c, rules_.dialect.wait_window_c);
}

void Heaters::say(Id id, std::size_t head, std::uint64_t line, const std::string& what) {
  found_.add(id, line, printable(heads_[head].name) + ": " + what);
}

Heaters::Head& Heaters::at(std::size_t head) {
  while (list_.size() <= head) {
    list_.emplace_back(heads_[list_.size()].hotend);
    // Not met before: cold, and parked since planning began.
    if (!started_) continue;
    open_gap(list_.back(), start_s_);
    if (paused_s_)
      list_.back().gap->pause.emplace(ObservedGap::Pause{*paused_s_, list_.back().heater});
  }
  return list_[head];
}

void Heaters::advance(Head& head, double at_s) {
  if (at_s <= head.now_s) return;
  head.heater.advance(at_s - head.now_s);
  head.now_s = at_s;
}

void Heaters::open_gap(Head& head, double at_s) {
  advance(head, at_s);
  head.gap.emplace(ObservedGap{.start = head.heater,
                               .from_s = at_s,
                               .commands = {},
                               .parting = head.since,
                               .fed_line = head.fed_line,
                               .used_c = head.used ? head.last_c : head.heater.target_c()});
  head.put_away = true;
}

void Heaters::prelude(double at_s) {
  prelude_s_ = at_s;
  for (Head& head : list_) {
    advance(head, at_s);
    head.before = head.heater;
    head.prelude.clear();
  }
}

void Heaters::start(double at_s, bool with_prelude, std::size_t printing) {
  started_ = true;
  if (mounted_ == kNone) mounted_ = printing;
  start_s_ = with_prelude ? prelude_s_ : at_s;
  for (std::size_t h = 0; h < list_.size(); ++h) {
    Head& head = list_[h];
    advance(head, at_s);
    if (!with_prelude) {
      head.before = head.heater;
      head.prelude.clear();
    }
    head.since = head.prelude;
    head.mark = head.before;
    head.mark_s = start_s_;
    if (h == mounted_) continue;
    head.gap.emplace(ObservedGap{.start = head.before,
                                 .from_s = start_s_,
                                 .commands = head.prelude,
                                 .used_c = head.before.target_c()});
    head.waited_c = std::numeric_limits<double>::quiet_NaN();
    for (const HeaterCommand& o : head.prelude) {
      if (o.waits) head.waited_c = o.target_c.value_or(head.heater.target_c());
    }
  }
}

double Heaters::command(std::size_t h, HeaterCommand o) {
  settle_limits(o.at_s);
  Head& head = at(h);
  advance(head, o.at_s);
  head.met = true;
  if (o.target_c) set_target(h, o);
  if (o.waits) wait(h, o);
  if (o.steps != nullptr) return o.takes_s;  // before the gap, or after it
  if (!started_) {
    head.prelude.push_back(o);
    return o.takes_s;
  }
  if (!(h == mounted_ && visit_.exchange && o.line == visit_.line)) head.since.push_back(o);
  if (head.gap) head.gap->commands.push_back(o);
  if (h == mounted_ && visit_.mounted) visit_.mounted->commands.push_back(o);
  return o.takes_s;
}

// REQUIRES: it names one.
void Heaters::set_target(std::size_t h, const HeaterCommand& o) {
  Head& head = list_[h];
  const double target_c = *o.target_c;
  const double max_c = heads_[h].max_c;
  head.highest_c = std::max(head.highest_c, target_c);
  if (target_c > max_c) {
    say(Id::above_max, h, o.line, fmt::format("{:g} C is above its max_c = {:g}", target_c, max_c));
  }
  if (o.steps != nullptr) {
    of_steps(h, o);
  } else {
    head.before_steps.reset();
  }
  if (head.since.empty()) {
    head.mark = head.heater;
    head.mark_s = o.at_s;
  }
  if (std::abs(target_c - head.waited_c) > kRoundingC) {
    head.waited_c = std::numeric_limits<double>::quiet_NaN();
  }
  head.heater.set_target(target_c);
  const bool drives = head.heater.full_drive();
  const double drive_s = drives ? head.heater.full_drive_s() : 0;
  const double warm_s = drives ? head.heater.seconds_until_warm(target_c) : 0;
  around_.driven(h, o.at_s, o.at_s + drive_s, o.at_s + warm_s, heads_[h].hotend.power_w);
  limit(h, o.at_s, o.line);
}

// Works out how long it waits.
void Heaters::wait(std::size_t h, HeaterCommand& o) {
  Head& head = list_[h];
  const double target_c = head.heater.target_c();
  const rules::Dialect& dialect = rules_.dialect;
  double wait_s = target_c <= 0 ? 0
                  : o.for_least ? head.heater.seconds_until_at(target_c - dialect.wait_window_c)
                                : head.heater.seconds_until_warm(target_c);
  if (o.cooling) wait_s = std::max(wait_s, head.heater.seconds_until_cool(target_c));
  const bool over = std::isfinite(wait_s);
  o.waited_s = over ? wait_s : 0;
  // Warm or not, the machine takes a while over it.
  if (over && target_c > 0 && !o.for_least) wait_s = std::max(wait_s, dialect.wait_takes_s);
  o.takes_s = wait_s = over ? wait_s : 0;
  head.waited_c = target_c;
  head.put_away = false;
  if (wait_s > 0) lines_.add(o.at_s, o.at_s + wait_s, o.span);
  if (h != mounted_) return;
  visit_.waited_c = target_c;
  const bool cools_down = o.cooling && target_c < head.used_c;
  if (o.inserted || cools_down || target_c <= heads_[h].hotend.ambient_c) return;
  head.used_c = target_c;
  if (!started_) return;
  visit_.own_wait = o;
  visit_.own_wait->target_c = o.target_c ? target_c : o.original_c;
  visit_.own_wait->at_s += wait_s;
}

// A sequence sets what its steps say, and in the end what it found.
void Heaters::of_steps(std::size_t h, const HeaterCommand& o) {
  Head& head = at(h);
  if (!head.before_steps) head.before_steps = head.heater.target_c();
  const auto is = [&o](double c) { return std::abs(*o.target_c - c) <= kRoundingC; };
  // What it was used at last, in this visit or before.
  const bool only_pulled = h == mounted_ && !visit_.fed && visit_.pull && !head.printed;
  const bool only_waited = h == mounted_ && !visit_.fed && !visit_.pull && visit_.own_wait;
  const double used_c = only_pulled                    ? visit_.pull->original_c
                        : only_waited && !head.printed ? visit_.own_wait->target_c.value_or(0)
                                                       : head.last_c;
  const auto printed = printed_c_.find(head.tool);
  const double own_c = printed == printed_c_.end() ? used_c : printed->second;
  bool known = is(*head.before_steps) || is(used_c) || is(own_c);
  for (const rules::Step& step : o.steps->steps) {
    using Action = rules::Step::Action;
    known |= step.action == Action::temp && is(step.amount);
    if (step.action != Action::temp_offset) continue;
    known |= is(used_c + step.amount) || is(*head.before_steps + step.amount);
    known |= is(own_c + step.amount);
    known |=
        head.tool >= 0 && is(rules_.filament(head.tool).exchange_c.value_or(used_c) + step.amount);
  }
  if (known) return;
  say(Id::invented_target, h, o.line,
      fmt::format("{:g} C is not what {} sets", *o.target_c, o.steps->name));
}

// A drive that begins now may be one too many, if it lasts.
void Heaters::limit(std::size_t h, double at_s, std::uint64_t line) {
  if (!around_.limited() || !started_ || !list_[h].heater.full_drive()) return;
  if (around_.drawn_w(at_s) <= around_.limit_w() + 1e-9) return;
  drives_.push_back({h, at_s, line});
}

void Heaters::settle_limits(double until_s) {
  // The job may set and take back a target within a moment.
  constexpr double kLastsS = 0.5;
  while (!drives_.empty() && drives_.front().at_s + kLastsS <= until_s) {
    const auto [head, at_s, line] = drives_.front();
    drives_.pop_front();
    const double watts = around_.drawn_w(at_s + kLastsS);
    if (watts <= around_.limit_w() + 1e-9) continue;
    say(Id::heating_limit, head, line,
        fmt::format("heaters at full drive together draw {:g} W, {:g} W are allowed{}", watts,
                    around_.limit_w(), rules_.machine.bed_w > 0 ? " beside the bed" : ""));
  }
}

void Heaters::select(double at_s, const Selected& s, int tool, double original_c,
                     std::uint64_t line) {
  if (s.redundant) return;
  around_.changed(at_s, at_s + s.seconds(),
                  around_.spread_s2(s.park_s > 0, s.pick_s > 0, s.exchange_s > 0));
  if (s.from != kNone) put_away(s.from, s, at_s, line);
  mounted_ = s.to;
  visit_ = Visit{};
  if (s.to == kNone) return;
  Head& to = at(s.to);
  advance(to, at_s);
  visit_.at_s = at_s;
  visit_.line = line;
  visit_.exchange = s.exchange;
  visit_.target_c = to.heater.target_c();
  visit_.out_tool = s.out_tool;
  visit_.original_c = original_c;
  visit_.judged = started_;
  if (s.exchange) begin_exchange(s.to, s, tool);
  to.tool = tool;
}

void Heaters::put_away(std::size_t h, const Selected& s, double at_s, std::uint64_t line) {
  Head& from = at(h);
  const bool used = visit_.fed || visit_.exchange || visit_.pull || visit_.own_wait;
  end_visit(h, at_s, line);
  if (s.from == s.to) return;
  // What was waited for after an exchange, to charge what came in, belongs to it.
  if (!visit_.fed && visit_.exchange) {
    std::erase_if(from.since, [](const HeaterCommand& o) { return o.inserted && o.waits; });
  }
  if (started_ && (used || !from.gap)) open_gap(from, at_s);
}

void Heaters::begin_exchange(std::size_t h, const Selected& s, int tool) {
  Head& head = at(h);
  const double at_s = visit_.at_s;
  head.printed = false;
  visit_.out_c = head.used ? head.last_c : 0;
  visit_.out_c = rules_.filament(s.out_tool).exchange_c.value_or(visit_.out_c);
  visit_.in_c = rules_.filament(tool).exchange_c.value_or(0);
  if (started_ && visit_.out_c > heads_[h].hotend.ambient_c) judge_exchange(h);
  if (!head.gap && started_) {
    visit_.mounted.emplace(
        ObservedGap{.start = head.heater, .from_s = at_s, .commands = {}, .parting = head.since});
  }
  if (started_) head.waited_c = std::numeric_limits<double>::quiet_NaN();
  head.since.clear();
  head.fed_until_s = at_s + s.seconds();
  head.fed_line = visit_.line;
}

// Whether the nozzle is as hot as what goes out and what comes ask for, and is so by a wait.
void Heaters::judge_exchange(std::size_t h) {
  const Head& to = at(h);
  const double temp = to.heater.temperature_c();
  const double least_c = std::max(visit_.out_c, visit_.in_c);
  const bool waited = std::any_of(to.since.begin(), to.since.end(), [&](const HeaterCommand& o) {
    return o.waits && o.target_c.value_or(visit_.target_c) >= least_c - kRoundingC;
  });
  // As when it feeds: a heater that was off, and is driven again, cools on in its dead time.
  const thermal::Hotend& hotend = heads_[h].hotend;
  const auto warm_c = [&](double c) {
    return waited ? thermal::cooled_c(hotend, c, hotend.dead_time_s) : c;
  };
  if (temp < warm_c(visit_.out_c) - cold_c(h)) {
    say(Id::exchange_cold, h, visit_.line,
        fmt::format("exchanged at {:.0f} C, printed at {:g} C", temp, visit_.out_c));
  } else if (temp < warm_c(least_c) - cold_c(h)) {
    say(Id::exchange_cold, h, visit_.line,
        fmt::format("exchanged at {:.0f} C, the rules want {:g} C for what comes", temp, least_c));
  }
  if (visit_.target_c < visit_.out_c - kRoundingC) {
    say(Id::exchange_target, h, visit_.line,
        fmt::format("target {:g} C during the exchange, printed at {:g} C", visit_.target_c,
                    visit_.out_c));
  }
  if (visit_.target_c < visit_.in_c - kRoundingC) {
    say(Id::exchange_target, h, visit_.line,
        fmt::format("target {:g} C during the exchange, the rules want {:g} C for what comes",
                    visit_.target_c, visit_.in_c));
  }
  if (!waited) {
    say(Id::exchange_without_wait, h, visit_.line,
        fmt::format("nothing waits for {:g} C before the exchange", least_c));
  }
}

double Heaters::highest_standby_c(std::size_t h) const {
  double standby_c = 0;
  for (const int tool : heads_[h].tools) {
    standby_c = std::max(standby_c, rules_.filament(tool).standby_c);
  }
  return std::min(standby_c, heads_[h].max_c);
}

void Heaters::pause(double at_s, std::uint64_t line) {
  using AtPause = rules::GapSettings::AtPause;
  const rules::GapSettings& gap = rules_.gap;
  if (!started_ || gap.policy != rules::Policy::lookahead || gap.at_pause == AtPause::as_planned) {
    return;
  }
  paused_s_ = at_s;
  for (std::size_t h = 0; h < list_.size(); ++h) {
    Head& head = list_[h];
    if (h == mounted_ || !head.gap) continue;
    advance(head, at_s);
    const double ambient_c = heads_[h].hotend.ambient_c;
    const double standby_c = head.tool < 0
                                 ? highest_standby_c(h)
                                 : std::min(rules_.filament(head.tool).standby_c, heads_[h].max_c);
    const double target_c = head.heater.target_c();
    if (target_c > (gap.at_pause == AtPause::off ? ambient_c : standby_c) + kRoundingC) {
      say(Id::hot_at_pause, h, line,
          gap.at_pause == AtPause::off
              ? fmt::format("waits at {:g} C over a pause, over which it is to be off", target_c)
              : fmt::format("waits at {:g} C over a pause, standby is {:g} C", target_c,
                            standby_c));
    }
    const double held_c = std::max(ambient_c, target_c);
    if (head.heater.temperature_c() > held_c) {
      head.heater = thermal::HeaterState(heads_[h].hotend, held_c);
      head.heater.set_target(target_c);
    }
    head.gap->pause.emplace(ObservedGap::Pause{at_s, head.heater, head.gap->commands.size()});
  }
}

void Heaters::forget_commands_after(std::size_t h, std::uint64_t line) {
  const auto later = [line](const HeaterCommand& o) { return o.line > line; };
  if (at(h).gap) std::erase_if(at(h).gap->commands, later);
  if (visit_.mounted) std::erase_if(visit_.mounted->commands, later);
}

// A visit in which nothing was fed may have been a use all the same: filament was pulled or
// exchanged, or the job waited for the heater.
void Heaters::end_visit(std::size_t h, double at_s, std::uint64_t line) {
  if (visit_.fed) return;
  Head& head = at(h);
  double work_c = 0;
  double used_s = 0;
  std::uint64_t used_line = 0;
  if (visit_.pull) {
    work_c = visit_.pull->original_c;
    used_s = visit_.pull->at_s;
    used_line = visit_.pull->line;
  } else if (visit_.own_wait) {
    work_c = visit_.own_wait->target_c.value_or(0);
    used_s = visit_.own_wait->at_s;
    used_line = visit_.own_wait->line;
    if (used_s > head.fed_until_s) {  // else steps have followed
      head.fed_until_s = used_s;
      head.fed_line = used_line;
    }
    std::erase_if(head.since, [&](const HeaterCommand& o) { return o.line <= used_line; });
  } else if (visit_.exchange) {
    exchanged_only(h, at_s, line);
    return;
  } else {
    return;
  }
  forget_commands_after(h, used_line);
  head.hot_s = visit_.pull || visit_.exchange ? 0 : head.hot_s + hot_s(h, work_c, head.tool);
  if (started_) close(h, used_s, work_c, head.tool, used_line);
  // What it is pulled or waited for at says less than what it was printed at before.
  if (!head.printed) head.last_c = work_c;
  head.used = true;
}

double Heaters::exchanged_c(const Head& head) const {
  return std::max(visit_.original_c, head.used ? head.last_c : 0);
}

// The visit ends, and all that happened in it was an exchange: that was its use. What came in is
// as hot as the job says, else as what was in it.
void Heaters::exchanged_only(std::size_t h, double at_s, std::uint64_t line) {
  Head& head = at(h);
  const double work_c = exchanged_c(head);
  head.hot_s = 0;
  forget_commands_after(h, visit_.line);
  if (started_) close(h, at_s, work_c, head.tool, line);
  // It goes out again as hot as it was last printed, whenever that was.
  const auto own = printed_c_.find(head.tool);
  head.last_c = own == printed_c_.end() ? work_c : std::max(work_c, own->second);
  head.used = true;
}

void Heaters::filament(double at_s, const Movement& m) {
  Head& head = at(m.head);
  advance(head, at_s);
  if (mounted_ == kNone) {
    // Fed without being selected: that it was ever put away is not to be judged.
    mounted_ = m.head;
    head.gap.reset();
    head.put_away = false;
  }
  head.met = true;
  head.used_c = m.original_c;
  if (started_) {
    const bool goes_on = visit_.fed || visit_.pull;
    begin_use(at_s, m);
    if (goes_on) head.least_c = std::min({head.least_c, m.original_c, m.least_c});
    const double temp = head.heater.temperature_c();
    // What the start code began with, it may have begun cold.
    // Nor is it cold that a heater which was just off cools on in its dead time.
    const thermal::Hotend& hotend = heads_[m.head].hotend;
    const double warm_c =
        goes_on ? thermal::cooled_c(hotend, head.least_c, hotend.dead_time_s) : head.least_c;
    if (visit_.judged && temp < warm_c - cold_c(m.head)) {
      say(Id::extrusion_cold, m.head, m.line,
          fmt::format("{} at {:.0f} C, the job prints at {:g} C", m.forwards ? "feeds" : "pulls",
                      temp, m.original_c));
    }
  } else {
    head.least_c = m.original_c;
  }
  if (m.forwards) {
    visit_.fed = head.fed = head.printed = true;
    head.last_c = m.original_c;
    if (m.original_c > heads_[m.head].hotend.ambient_c) printed_c_[m.tool] = m.original_c;
  }
  head.used = true;
  head.hot_s = 0;
  if (head.tool < 0) head.tool = m.tool;
  head.since.clear();
}

// Judges the target at a movement of filament and, where it is the first since the toolhead was
// picked, the wait before it and the gap that it ends. What is pulled before it is fed may be as
// hot as what is fed then.
void Heaters::begin_use(double at_s, const Movement& m) {
  Head& head = at(m.head);
  const double target = head.heater.target_c();
  const bool hotter_first =
      !m.forwards && !visit_.fed && !m.was_waited_for && target > m.original_c;
  if (std::abs(target - m.original_c) > kRoundingC && !hotter_first) {
    say(Id::extrusion_target, m.head, m.line,
        fmt::format("{} with a target of {:g} C, the job wants {:g} C",
                    m.forwards ? "feeds" : "pulls", target, m.original_c));
  }
  if (visit_.fed) return;
  const auto waited = [&](double for_c) {
    return m.forwards ? std::abs(for_c - m.original_c) <= kRoundingC
                      : for_c >= m.original_c - kRoundingC;
  };
  const bool pulled_before = visit_.pull && visit_.pull->waited_c >= m.original_c - kRoundingC;
  if (m.original_c > heads_[m.head].hotend.ambient_c && !pulled_before &&
      (m.forwards || !visit_.pull) && (head.put_away || !waited(head.waited_c))) {
    say(Id::use_without_wait, m.head, m.line,
        fmt::format("nothing waits for {:g} C", m.original_c));
  }
  if (!m.forwards) {
    if (visit_.pull) return;
    visit_.pull = {at_s, m.original_c, head.waited_c, m.was_waited_for, m.line};
    head.least_c = m.original_c;
    visit_.judged = true;
    return;
  }
  if (visit_.exchange && visit_.judged && visit_.target_c < m.original_c - kRoundingC) {
    say(Id::exchange_target, m.head, visit_.line,
        fmt::format("target {:g} C during the exchange, the next filament is printed at {:g} C",
                    visit_.target_c, m.original_c));
  }
  head.least_c = m.original_c;
  visit_.judged = true;
  if (visit_.pull) {
    forget_commands_after(m.head, visit_.pull->line);
    const Visit::Pull& pull = *visit_.pull;
    const double work_c =
        pull.was_waited_for ? pull.original_c : std::max(m.original_c, pull.original_c);
    close(m.head, pull.at_s, work_c, m.tool, pull.line);
    return;
  }
  close(m.head, at_s, m.original_c, m.tool, m.line);
}

void Heaters::feed_inserted(double at_s, std::size_t h, std::uint64_t line) {
  Head& head = at(h);
  advance(head, at_s);
  // Before its use it is as hot as was waited for; what goes out by an exchange may be less hot
  // than it was printed.
  const bool waited = !visit_.fed && !head.put_away && !std::isnan(head.waited_c);
  double wanted = head.fed && !waited ? head.last_c : head.heater.target_c();
  if (!visit_.fed) wanted = visit_.waited_c.value_or(wanted);
  if (visit_.fed && head.tool >= 0) {
    wanted = std::min(wanted, rules_.filament(head.tool).exchange_c.value_or(wanted));
  }
  if (head.heater.temperature_c() < wanted - cold_c(h) ||
      head.heater.temperature_c() <= heads_[h].hotend.ambient_c + kColdC) {
    say(Id::extrusion_cold, h, line,
        fmt::format("an inserted line feeds at {:.0f} C, the job prints at {:g} C",
                    head.heater.temperature_c(), wanted));
  }
}

// Mounted to the end: its last gap begins where it last moved filament.
ObservedGap Heaters::last_gap(std::size_t h, double at_s) {
  Head& head = list_[h];
  const double from = std::max(head.fed_until_s, start_s_);
  ObservedGap gap{.start = head.since.empty() ? head.heater : head.mark, .from_s = from};
  gap.still_mounted = true;
  double now = head.since.empty() ? at_s : head.mark_s;
  for (const HeaterCommand& o : head.since) {
    if (o.line > head.fed_line && o.at_s >= from - 1e-6) {
      gap.commands.push_back(o);
      continue;
    }
    gap.start.advance(std::max(0.0, o.at_s - now));
    now = std::max(now, o.at_s);
    if (o.target_c) gap.start.set_target(*o.target_c);
  }
  if (now < from) {
    gap.start.advance(from - now);
  } else if (now > from) {
    // Nothing was said in between: it was held at its target.
    const double target = gap.start.target_c();
    gap.start = thermal::HeaterState(heads_[h].hotend, gap.start.temperature_c());
    gap.start.set_target(target);
  }
  return gap;
}

void Heaters::finish(double at_s) {
  if (!started_) return;
  settle_limits(at_s + 1);
  if (mounted_ != kNone) end_visit(mounted_, at_s, 0);
  for (std::size_t h = 0; h < list_.size(); ++h) {
    Head& head = list_[h];
    advance(head, at_s);
    if (!head.met) continue;
    if (!head.gap) head.gap = last_gap(h, at_s);
    head.gap->to_s = at_s;
    head.gap->highest_c = head.highest_c;
    of_filament(*head.gap, h, head.tool >= 0 ? head.tool : heads_[h].tools.front());
    judge_last(*head.gap, {heads_[h], h, rules_.gap, lines_, around_}, head.used, found_);
  }
}

}  // namespace forewarm::check
