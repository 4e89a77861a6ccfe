#include "plan/totals.h"

namespace forewarm::plan {

void sum_up(const job::Job& job, const Simulation& outcome, Plan& plan) {
  plan.figures = outcome.figures;
  plan.heads = outcome.heads;
  // Waits before a select, and those put in right before its line, are over when it begins.
  plan.change_at_s.reserve(job.tool_changes.size());
  for (const job::ToolChange& s : job.tool_changes) {
    plan.change_at_s.push_back(s.at.time_s + outcome.waits.before_line(s.at.offset));
  }
  std::size_t mounted = job::kNone;
  for (const job::ToolUse& s : job.uses) {
    if (s.head != mounted) ++plan.heads[s.head].uses;
    mounted = s.head;
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

}  // namespace forewarm::plan
