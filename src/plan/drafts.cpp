#include "plan/drafts.h"

#include <utility>

#include "plan/echoes.h"
#include "plan/events.h"

namespace forewarm::plan {

namespace {

using job::kNone;
using job::Place;

class Drafting {
 public:
  Drafting(const Problem& problem, const Basis& basis, std::span<const GapDecision> decisions,
           std::vector<CommandDraft> memory)
      : problem_(problem), basis_(basis), decisions_(decisions), drafts_(std::move(memory)) {
    drafts_.clear();
    std::size_t most = 2 * (problem.transitions.size() + problem.gaps.size());
    for (const Steps& s : problem.sequences) most += s.block.lines.size() + s.lower.lines.size();
    drafts_.reserve(most);
  }

  std::vector<CommandDraft> run() {
    const rules::Dialect& dialect = problem_.rules.dialect;
    add_raw(dialect.job_start, *problem_.job.start, kBegin, Origin::Kind::start);
    std::size_t g = 0;
    for (const Transition& t : problem_.transitions) {
      if (t.parked) add_actions(t, g++);
      add_cool_downs(t);
      add_pause(t);
      // What is mounted while its filament is exchanged is hot all the way, at the hotter of the
      // two.
      add_waits(t);
      add_ready(problem_, t, drafts_);
      if (t.leaving != kNone) add_sequence(t.leaving, t.parked ? kParting : kShaping);
      if (t.arriving != kNone) add_sequence(t.arriving, kArrive);
    }
    const job::ToolUse& last = problem_.job.uses.back();
    add_raw(dialect.job_end, {last.last_end, last.last_end_s}, kLast, Origin::Kind::end);
    add_other_echoes(problem_, drafts_);
    return std::move(drafts_);
  }

 private:
  CommandDraft& add(Place at, CommandDraft::Kind kind, const Transition& t, double temp_c,
                    Origin origin, int rank) {
    return drafts_.emplace_back(CommandDraft{.at = at,
                                             .temp_c = temp_c,
                                             .head = std::uint32_t(t.head),
                                             .tool = t.tool,
                                             .rank = rank,
                                             .kind = kind,
                                             .origin = origin});
  }

  void add_raw(const std::vector<std::string>& lines, Place at, int rank, Origin::Kind origin) {
    for (std::uint32_t i = 0; i < lines.size(); ++i) {
      drafts_.push_back(
          {.at = at, .rank = rank, .kind = CommandDraft::Kind::raw, .origin = {origin, i}});
    }
  }

  void add_actions(const Transition& t, std::size_t g) {
    const GapDecision& decision = decisions_[g];
    const double from_s = basis_.gap(g).from_s;
    for (std::size_t i = 0; i < decision.actions.size(); ++i) {
      const GapAction& action = decision.actions[i];
      const Spot spot =
          action.after_s <= 0 ? Spot{t.from} : basis_.spot_at(from_s + action.after_s, g);
      const Place at = spot.at;
      if (i + 1 < decision.actions.size()) {
        const Spot next = basis_.spot_at(from_s + decision.actions[i + 1].after_s, g);
        // Behind a wait that is inserted there, it has cooled to standby.
        const bool later = action.kind == GapAction::Kind::standby && next.after && !spot.after;
        if (next.at.offset == at.offset && !later) continue;
      }
      const double now_c = basis_.gap(g).start_target_c;
      const bool same_as_now = i == 0 && at.offset == t.from.offset && action.target_c == now_c &&
                               t.disabled.empty() && now_c <= 0;
      // It waits at that over the pause already.
      const bool goes_on =
          i == 0 && t.pause && at.offset == t.from.offset && action.target_c == now_c;
      if (same_as_now || goes_on) continue;
      const bool parting =
          at.offset == t.from.offset && !t.pause && (t.leaving != kNone || t.arrived_at_from);
      const int rank = spot.after ? kAfter : parting ? kCool : kFirst;
      const Origin origin{Origin::Kind::action, std::uint32_t(i), std::uint32_t(g)};
      add(at, CommandDraft::Kind::set, t, action.target_c, origin, rank).preheat =
          action.kind == GapAction::Kind::preheat;
    }
  }

  // A wait for cooling down sets a target, which nothing needs.
  void add_cool_downs(const Transition& t) {
    if (t.put_away && !(t.pause && t.put_away->offset == t.parked_for_pause.offset)) {
      add(*t.put_away, CommandDraft::Kind::set, t, 0, {Origin::Kind::cooling},
          t.leaving != kNone ? kCool : kFirst);
    }
    for (const std::size_t i : t.cool_downs) {
      const job::Target& target = problem_.job.targets[i];
      if (t.after || target.at.offset < t.from.offset) continue;
      add({target.end_offset, target.at.time_s}, CommandDraft::Kind::set, t, 0,
          {Origin::Kind::cooled_down}, kFirst);
    }
  }

  void add_pause(const Transition& t) {
    if (!t.waits_at_pause_c) return;
    const bool parting = t.put_away->offset == t.parked_for_pause.offset &&
                         (t.leaving != kNone || t.arrived_at_from);
    add(t.parked_for_pause, CommandDraft::Kind::set, t, *t.waits_at_pause_c, {Origin::Kind::pause},
        parting ? kCool : kFirst);
  }

  void add_waits(const Transition& t) {
    for (std::size_t i = 0; i < t.deadlines.size(); ++i) {
      const HeatDeadline& d = t.deadlines[i];
      const int rank = d.at.offset <= t.to.offset ? kNext : kArrive;
      if (!d.ours) {
        add_target_after_own_wait(t, i, rank);
      } else if (!d.guards_exchange) {
        add(d.at, CommandDraft::Kind::wait, t, d.temp_c, {Origin::Kind::print}, rank);
      } else {
        add(d.at, CommandDraft::Kind::wait, t, d.temp_c, {Origin::Kind::exchange}, rank);
        if (t.ready_c > d.temp_c) {
          add(d.at, CommandDraft::Kind::set, t, t.ready_c, {Origin::Kind::hotter}, rank);
        }
      }
    }
  }

  // The job's own wait may be for less; the plan's target comes back right after it.
  void add_target_after_own_wait(const Transition& t, std::size_t i, int rank) {
    const HeatDeadline& d = t.deadlines[i];
    const job::Target& target = problem_.job.targets[d.target];
    const double wanted = t.exchange && d.at.offset < t.to.offset ? t.approach_c : t.work_c;
    const bool last = i + 1 == t.deadlines.size();
    // Timers do not heat again by themselves for a wait that names no temperature.
    const bool timers = last && !t.exchange && problem_.policy == rules::Policy::timers;
    const Place behind{target.has_temp ? target.end_offset : d.at.offset, d.at.time_s};
    // The next wait sets its own target; until then it is no colder than wanted.
    const bool returns = target.temp_c != wanted && (last || target.temp_c < wanted);
    if (target.has_temp ? returns : timers) {
      add(behind, CommandDraft::Kind::set, t, wanted, {Origin::Kind::back}, rank);
    }
  }

  static CommandDraft::Kind kind_of(job::StepLine::Kind kind) {
    switch (kind) {
      case job::StepLine::Kind::set:
        return CommandDraft::Kind::set;
      case job::StepLine::Kind::wait:
        return CommandDraft::Kind::wait;
      default:
        return CommandDraft::Kind::raw;
    }
  }

  void add_sequence(std::size_t s, int rank) {
    const Steps& steps = problem_.sequences[s];
    const std::vector<job::StepLine>& lines = basis_.block(s).lines;
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const job::StepLine& line = lines[i];
      drafts_.push_back({.at = steps.at,
                         .temp_c = line.temp_c,
                         .seconds = line.seconds,
                         .head = std::uint32_t(steps.head),
                         .tool = steps.tool,
                         .rank = rank,
                         .kind = kind_of(line.kind),
                         .step = true,
                         .origin = {Origin::Kind::step, std::uint32_t(i), std::uint32_t(s)}});
    }
    for (std::uint32_t i = 0; i < steps.lower.lines.size(); ++i) {
      drafts_.push_back({.at = steps.lower_at,
                         .seconds = steps.lower.lines[i].seconds,
                         .head = std::uint32_t(steps.head),
                         .tool = steps.tool,
                         .rank = kLower,
                         .kind = CommandDraft::Kind::raw,
                         .origin = {Origin::Kind::lower, i, std::uint32_t(s)}});
    }
  }

  const Problem& problem_;
  const Basis& basis_;
  std::span<const GapDecision> decisions_;
  std::vector<CommandDraft> drafts_;
};

}  // namespace

std::vector<CommandDraft> draft_commands(const Problem& problem, const Basis& basis,
                                         std::span<const GapDecision> decisions,
                                         std::vector<CommandDraft> memory) {
  return Drafting(problem, basis, decisions, std::move(memory)).run();
}

}  // namespace forewarm::plan
