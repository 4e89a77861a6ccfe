#include <string>
#include <vector>

#include "plan/plan.h"

namespace forewarm::plan {

using job::Job;

std::string broken_invariant(const Job& job, const Plan& plan) {
  std::uint64_t offset = 0;
  for (const Command& c : plan.commands) {
    if (c.at.offset < offset) return "commands out of order";
    offset = c.at.offset;
    if (job.start && c.at.offset < job.start->offset) return "a command in the start code";
    if (c.at.offset > job.bytes) return "a command beyond the end";
    if (c.kind == Command::Kind::raw) continue;
    if (c.reason.empty()) return "a command without a reason";
    if (c.head >= job.heads.size()) return "a command to no toolhead";
    if (!(c.temp_c >= 0) || c.temp_c > job.heads[c.head].max_c) return "a target out of range";
  }
  for (const std::size_t d : plan.disabled) {
    if (d >= job.targets.size()) return "a target disabled that is none";
    if (job.start && job.targets[d].at.offset < job.start->offset) {
      return "a target of the start code disabled";
    }
  }
  // Off at the end: the last word that each toolhead that was ever heated gets.
  if (plan.policy != rules::Policy::as_sliced && job.worth_planning()) {
    std::vector<double> last(job.heads.size(), 0);
    std::size_t c = 0;
    std::size_t d = 0;
    const auto commands_up_to = [&](std::uint64_t limit) {
      for (; c < plan.commands.size() && plan.commands[c].at.offset <= limit; ++c) {
        if (plan.commands[c].kind != Command::Kind::raw) {
          last[plan.commands[c].head] = plan.commands[c].temp_c;
        }
      }
    };
    for (std::size_t t = 0; t < job.targets.size(); ++t) {
      commands_up_to(job.targets[t].at.offset);
      while (d < plan.disabled.size() && plan.disabled[d] < t) ++d;
      const bool disabled = d < plan.disabled.size() && plan.disabled[d] == t;
      if (!disabled && job.targets[t].has_temp) last[job.targets[t].head] = job.targets[t].temp_c;
    }
    commands_up_to(UINT64_MAX);
    for (std::size_t h = 0; h < last.size(); ++h) {
      if (last[h] > 0) return "toolhead " + job.heads[h].name + " is left on";
    }
  }
  for (const GapPlan& g : plan.gaps) {
    if (g.to_s < g.from_s - 1e-6) return "a gap that ends before it begins";
    if (plan.policy != rules::Policy::as_sliced && g.reason.empty())
      return "a gap without a reason";
  }
  return {};
}

}  // namespace forewarm::plan
