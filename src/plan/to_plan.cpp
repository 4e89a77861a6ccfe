#include "plan/to_plan.h"

#include <algorithm>
#include <iterator>
#include <span>
#include <utility>

#include "plan/describe.h"
#include "plan/echoes.h"
#include "plan/events.h"
#include "plan/gap_cost.h"

namespace forewarm::plan {

namespace {

// Words take longer to find than commands, so only those of the settled solution get them.
std::vector<Command> commands_of(const Problem& problem, const Decided& decided) {
  std::vector<Timeline::Key> keys;
  keys.reserve(decided.commands.size());
  for (const CommandDraft& c : decided.commands) {
    keys.push_back({c.at.offset, std::uint32_t(c.rank), std::uint32_t(keys.size())});
  }
  std::sort(keys.begin(), keys.end());
  std::vector<Command> out;
  out.reserve(keys.size());
  for (const Timeline::Key& k : keys) {
    Command& c = out.emplace_back();
    static_cast<CommandDraft&>(c) = decided.commands[k.event];
    if (c.origin.is_echo()) {
      describe_echo(c, problem, std::span(out).first(out.size() - 1));
    } else {
      describe(c, problem, decided);
    }
  }
  return out;
}

GapPlan gap_of(const Problem& problem, const Solution& solution, std::size_t g,
               GapContext& context) {
  const Transition& t = problem.gap(g);
  const GapOutcome& outcome = solution.result->gap(g);
  GapPlan gap;
  gap.head = t.head;
  gap.before = t.before;
  gap.after = t.after;
  gap.from_s = outcome.parked_from_s;
  gap.to_s = outcome.to_s;
  gap.dip_c = outcome.dip_c;
  gap.wait_s = outcome.wait_s;
  gap.hot_idle_s = outcome.hot_idle_s;
  solution.result->context(g, context);
  const GapBound bound = physical_bound(context, outcome.to_s - outcome.from_s);
  gap.least_hot_idle_s = bound.hot_idle_s;
  gap.least_wait_s = bound.late_s;
  if (!solution.decided) return gap;
  const GapDecision& decision = solution.decided->decisions[g];
  gap.treatment = decision.treatment;
  gap.rationale = decision.rationale;
  gap.reason = describe(decision.rationale);
  if (decision.preheat_after_s) {
    const Basis& basis = *solution.decided->basis;
    const Spot spot = basis.spot_at(basis.gap(g).from_s + *decision.preheat_after_s, g);
    gap.preheat_at_s = solution.result->wall_s(spot);
  }
  return gap;
}

std::vector<GapPlan> gaps_of(const Problem& problem, const Solution& solution) {
  std::vector<std::pair<double, std::size_t>> by_start;
  by_start.reserve(problem.gaps.size());
  for (std::size_t g = 0; g < problem.gaps.size(); ++g) {
    by_start.emplace_back(solution.result->gap(g).from_s, g);
  }
  std::sort(by_start.begin(), by_start.end());
  std::vector<GapPlan> out;
  out.reserve(by_start.size());
  GapContext context;  // its memory is used for each gap
  for (const auto& [from_s, g] : by_start) out.push_back(gap_of(problem, solution, g, context));
  return out;
}

// Each second from the start of the first change on belongs to one of them at most.
std::vector<ChangeDelay> change_delays(const job::Job& job, const Simulation& simulation) {
  std::vector<ChangeDelay> out;
  out.reserve(job.tool_changes.size());
  const auto passed = [&](double (CumulativeDelay::*before)(std::uint64_t) const,
                          std::uint64_t offset) {
    return ChangeDelay{(simulation.for_heaters.*before)(offset),
                       (simulation.in_sequences.*before)(offset)};
  };
  auto next = job.uses.begin();  // the first use that begins behind the change
  for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
    const std::uint64_t at = job.tool_changes[i].at.offset;
    const std::uint64_t end =
        i + 1 < job.tool_changes.size() ? job.tool_changes[i + 1].at.offset : job.bytes;
    while (next != job.uses.end() && next->first.offset <= at) ++next;
    const bool used_before =
        next != job.uses.begin() &&
        (i == 0 || std::prev(next)->first.offset > job.tool_changes[i - 1].at.offset);
    const ChangeDelay from = passed(&CumulativeDelay::before,
                                    used_before ? std::min(std::prev(next)->last_end, at) : at);
    const bool used = next != job.uses.end() && next->first.offset <= end;
    const ChangeDelay to = used ? passed(&CumulativeDelay::before_line, next->first.offset)
                                : passed(&CumulativeDelay::before, end);
    const bool redundant = job.tool_changes[i].kind == job::ChangeKind::redundant;
    out.push_back(redundant ? ChangeDelay{}
                            : ChangeDelay{std::max(0.0, to.wait_s - from.wait_s),
                                          std::max(0.0, to.sequence_s - from.sequence_s)});
  }
  return out;
}

// Fills in figures, heads and what concerns changes. REQUIRES: plan.gaps are those of the job.
void add_totals(const job::Job& job, const Simulation& simulation, Plan& plan) {
  plan.figures = simulation.figures;
  plan.figures.peak_heating_w = peak_heating_w(simulation.drives, job);
  plan.figures.peak_all_w = peak_all_w(simulation.drives, simulation.holding, job);
  plan.heads = simulation.heads;
  plan.delays = simulation.waits;
  // Waits before a tool change, and those inserted right before its line, are over when it begins.
  plan.change_at_s.reserve(job.tool_changes.size());
  for (const job::ToolChange& c : job.tool_changes) {
    plan.change_at_s.push_back(c.at.time_s + simulation.waits.before_line(c.at.offset));
  }
  plan.change_delays = change_delays(job, simulation);
  const job::LongLine& line = job.longest_line;
  const double line_s = line.at.time_s + simulation.waits.before_line(line.at.offset);
  plan.without_command = simulation.without_command;
  plan.without_command.take_longer({line_s, line_s + line.seconds});
  for (const job::Pause& p : job.pauses) {
    plan.pause_at_s.push_back(p.at.time_s + simulation.waits.before_line(p.at.offset));
  }
  std::size_t mounted = job::kNone;
  for (const job::ToolUse& use : job.uses) {
    if (use.head != mounted) ++plan.heads[use.head].uses;
    mounted = use.head;
  }
  for (const GapPlan& g : plan.gaps) {
    HeadFigures& h = plan.heads[g.head];
    switch (g.treatment) {
      case Treatment::hold:
        ++h.hold;
        break;
      case Treatment::standby:
        ++h.standby;
        break;
      case Treatment::off:
        ++h.off;
        break;
    }
  }
}

}  // namespace

Plan to_plan(const Problem& problem, const Solution& solution) {
  Plan plan;
  plan.policy = problem.policy;
  if (solution.decided) plan.commands = commands_of(problem, *solution.decided);
  plan.disabled = problem.disabled;
  plan.gaps = gaps_of(problem, solution);
  add_totals(problem.job, solution.result->simulation(), plan);
  if (problem.rules.machine.heating_limit_w) {
    const Simulation& simulation = solution.result->simulation();
    const OverLimit over = over_limit(simulation.drives, problem.job, problem.limit_w(),
                                      simulation.waits.wall(*problem.job.start));
    plan.figures.over_limit_s = over.of_plan_s;
    plan.figures.over_limit_own_s = over.of_job_s;
  }
  // What an exchange charges counts whole; else what is made up for, as the rest only comes back.
  for (std::size_t s = 0; solution.decided && s < problem.sequences.size(); ++s) {
    const Steps& steps = problem.sequences[s];
    const job::StepBlock& block = solution.decided->basis->block(s);
    const bool charges = steps.exchange && block.fed_mm > 0;
    const double mm = charges ? block.fed_mm : block.made_up_mm;
    if (mm > 0) plan.step_purge_mm[steps.tool] += mm;
    plan.fed.push_back({steps.at.offset, steps.tool, block.fed_mm, block.most_mm, steps.arrives});
  }
  std::stable_sort(
      plan.fed.begin(), plan.fed.end(),
      [](const job::InsertedFeed& a, const job::InsertedFeed& b) { return a.offset < b.offset; });
  return plan;
}

Plan without_planning(const job::Job& job, const rules::Rules& rules, rules::Policy policy) {
  Plan plan;
  plan.policy = policy;
  Timeline timeline;
  own_events_of(job, rules.dialect, timeline);
  add_totals(job, simulate(job, timeline, 0), plan);
  return plan;
}

}  // namespace forewarm::plan
