#include "plan/preheat_tasks.h"

#include <algorithm>

#include "plan/preheat_option.h"

namespace forewarm::plan {

GapHeater::GapHeater(const Problem& problem, const Basis& basis, const LeadTimeModel& lead_time,
                     std::size_t gap, const GapDecision& decision)
    : problem_(problem), basis_(basis), lead_time_(lead_time), gap_(gap), decision_(decision) {
  const Transition& t = problem.gap(gap);
  const GapOutcome& outcome = basis.gap(gap);
  heater_.hotend = problem.job.heads[t.head].hotend;
  heater_.start_c = outcome.start_c;
  heater_.start_target_c = outcome.start_target_c;
  heater_.start = outcome.start;
  heater_.ready_c = t.approach_c;
}

void GapHeater::find_levels() const {
  levels_ = 1;
  GapContext context;
  basis_.context(gap_, context);
  for (const Warmth warmth : {Warmth::standby, Warmth::hot}) {
    const auto floor_c = warmer_floor(context, warmth);
    if (!floor_c || *floor_c <= decision_.floor_c) continue;
    warmer_[levels_ - 1] = {warmth, *floor_c};
    ++levels_;
  }
}

std::size_t GapHeater::levels() const {
  if (levels_ == 0) find_levels();
  return levels_;
}

bool GapHeater::is_driven(std::size_t level) const {
  return level == 0 || warmer_[level - 1].floor_c < heater_.ready_c;
}

double GapHeater::latest_s(std::size_t level) const {
  const double from_s = basis_.gap(gap_).from_s;
  if (level == 0) return from_s + *decision_.preheat_after_s;
  Level& l = warmer_[level - 1];
  if (!l.latest_s) {
    GapContext context;
    basis_.context(gap_, context);
    const PreheatOption option = preheat_option(context, lead_time_, l.floor_c);
    l.latest_s = from_s + (option.possible() ? option.preheat_s : 0);
  }
  return *l.latest_s;
}

double GapHeater::drive_s(std::size_t level, double parked_s) const {
  if (heater_.hotend.driven_until_ready()) return ready_s(level, parked_s);
  thermal::HeaterState heater = heater_at_start(heater_);
  if (parked_s > 0) heater = driven_to_floor(heater_, floor_c(level), parked_s);
  heater.set_target(heater_.ready_c);
  return heater.full_drive() ? heater.full_drive_s() : 0;
}

double GapHeater::ready_s(std::size_t level, double parked_s) const {
  if (parked_s <= 0) {
    // It goes on from whatever it did.
    thermal::HeaterState heater = heater_at_start(heater_);
    heater.set_target(heater_.ready_c);
    return heater.seconds_until_warm(heater_.ready_c);
  }
  return heating_s(heater_, floor_c(level), parked_s, heater_.ready_c);
}

double GapHeater::line_at(double wall_s) const { return basis_.spot_at(wall_s, gap_).wall_s; }
double GapHeater::line_after(double wall_s) const { return basis_.line_after_s(wall_s, gap_); }

std::optional<Warmth> GapHeater::warmth(std::size_t level) const {
  if (level == 0) return std::nullopt;
  return warmer_[level - 1].warmth;
}

PreheatTasks preheat_tasks(const Problem& problem, const Basis& basis,
                           const LeadTimeModel& lead_time, std::span<const GapDecision> decisions) {
  PreheatTasks out;
  out.heaters.reserve(decisions.size());
  out.tasks.reserve(decisions.size());
  for (std::size_t g = 0; g < decisions.size(); ++g) {
    if (!decisions[g].preheat_after_s) continue;
    const Transition& t = problem.gap(g);
    const GapOutcome& outcome = basis.gap(g);
    PreheatTask& task = out.tasks.emplace_back();
    task.release_s = outcome.from_s;
    task.deadline_s = basis.deadline_s(t, t.deadlines.front());
    task.wait_s = outcome.wait_s;
    task.watts = problem.job.heads[t.head].hotend.power_w;
    task.heater = t.head;
    task.parked = &out.heaters.emplace_back(problem, basis, lead_time, g, decisions[g]);
  }
  return out;
}

std::vector<PowerLoad> other_loads(const Problem& problem, const Basis& basis,
                                   const PreheatTasks& preheats) {
  std::vector<char> preheated(problem.gaps.size(), 0);
  for (const GapHeater& h : preheats.heaters) preheated[h.gap()] = 1;
  // What is under way when a gap begins is the gap's to go on with.
  std::vector<std::vector<double>> releases(problem.job.heads.size());
  for (const PreheatTask& task : preheats.tasks) releases[task.heater].push_back(task.release_s);
  std::vector<PowerLoad> loads;
  for (const Drive& d : basis.simulation().drives) {
    // What a gap is driven to beyond its preheat's temperature, in its exchange, stays where it is.
    const bool of_task = d.gap != Drive::kNoGap && preheated[d.gap] != 0 &&
                         d.to_c <= problem.gap(d.gap).approach_c + thermal::kRoundingC;
    if (of_task || d.to_s <= d.from_s) continue;
    const std::vector<double>& of_head = releases[d.head];
    const auto next = std::upper_bound(of_head.begin(), of_head.end(), d.from_s);
    const double to_s = next == of_head.end() ? d.to_s : std::min(d.to_s, *next);
    loads.push_back({d.from_s, to_s, problem.job.heads[d.head].hotend.power_w, d.head});
  }
  return loads;
}

}  // namespace forewarm::plan
