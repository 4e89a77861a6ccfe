#include "plan/preheat_tasks.h"

#include <algorithm>

namespace forewarm::plan {

namespace {

double floor_of(const Transition& t, const GapOutcome& outcome, Treatment treatment) {
  switch (treatment) {
    case Treatment::standby:
      return std::min(t.standby_c, t.approach_c);
    case Treatment::hold:
      return outcome.start_target_c;
    case Treatment::off:
      break;
  }
  return 0;
}

}  // namespace

double WaitingHeater::drive_s(double wall_s) const {
  const Transition& t = problem->gap(gap);
  const GapOutcome& outcome = basis->gap(gap);
  GapContext context;
  context.hotend = problem->job.heads[t.head].hotend;
  context.start_c = outcome.start_c;
  context.start_target_c = outcome.start_target_c;
  context.start = outcome.start;
  return plan::drive_s(context, floor_c, std::max(0.0, wall_s - outcome.from_s), t.approach_c);
}

PreheatTasks preheat_tasks(const Problem& problem, const Basis& basis,
                           std::span<const GapDecision> decisions) {
  PreheatTasks out;
  out.heaters.reserve(decisions.size());
  out.tasks.reserve(decisions.size());
  for (std::size_t g = 0; g < decisions.size(); ++g) {
    const GapDecision& decision = decisions[g];
    if (!decision.preheat_after_s) continue;
    const Transition& t = problem.gap(g);
    const GapOutcome& outcome = basis.gap(g);
    const double from_s = outcome.from_s;
    const WaitingHeater* heater = &out.heaters.emplace_back(
        WaitingHeater{&basis, &problem, g, floor_of(t, outcome, decision.treatment)});
    PreheatTask& task = out.tasks.emplace_back();
    task.release_s = from_s;
    task.latest_s = from_s + *decision.preheat_after_s;
    task.deadline_s = from_s + (basis.deadline_s(t, t.deadlines.front()) - from_s);
    task.wait_s = outcome.wait_s;
    task.watts = problem.job.heads[t.head].hotend.power_w;
    task.heater = t.head;
    // One pointer each: such functions need no memory of their own.
    task.drive_s = [heater](double wall_s) { return heater->drive_s(wall_s); };
    task.line_at = [heater](double wall_s) {
      return heater->basis->spot_at(wall_s, heater->gap).wall_s;
    };
    task.line_after = [heater](double wall_s) { return heater->basis->line_after_s(wall_s); };
  }
  return out;
}

std::vector<PowerLoad> other_loads(const Problem& problem, const Basis& basis) {
  std::vector<PowerLoad> loads;
  for (const Drive& d : basis.simulation().drives) {
    if (d.preheat || d.to_s <= d.from_s) continue;
    loads.push_back({d.from_s, d.to_s, problem.job.heads[d.head].hotend.power_w, d.head});
  }
  return loads;
}

}  // namespace forewarm::plan
