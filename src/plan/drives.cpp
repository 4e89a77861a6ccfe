#include "plan/drives.h"

#include <algorithm>
#include <utility>

namespace forewarm::plan {

namespace {

constexpr double kRoundingS = 1e-6;

// Of steps (moment, watts more).
double peak_of(std::vector<std::pair<double, double>>& steps) {
  std::sort(steps.begin(), steps.end());
  double now = 0;
  double peak = 0;
  for (const auto& [time, power] : steps) peak = std::max(peak, now += power);
  return peak;
}

void add_steps(std::vector<std::pair<double, double>>& steps, double from_s, double to_s,
               double watts) {
  if (to_s - from_s <= kRoundingS) return;
  steps.emplace_back(from_s, watts);
  steps.emplace_back(to_s - kRoundingS, -watts);
}

std::vector<std::pair<double, double>> steps_of(const std::vector<Drive>& drives,
                                                const job::Job& job) {
  std::vector<std::pair<double, double>> steps;
  steps.reserve(2 * drives.size());
  for (const Drive& d : drives) {
    add_steps(steps, d.from_s, d.to_s, job.heads[d.head].hotend.power_w);
  }
  return steps;
}

}  // namespace

double peak_heating_w(const std::vector<Drive>& drives, const job::Job& job) {
  auto steps = steps_of(drives, job);
  return peak_of(steps);
}

double peak_all_w(const std::vector<Drive>& drives, const std::vector<Holding>& holding,
                  const job::Job& job) {
  auto steps = steps_of(drives, job);
  steps.reserve(steps.size() + 2 * holding.size());
  for (const Holding& h : holding) add_steps(steps, h.from_s, h.to_s, h.watts);
  return peak_of(steps);
}

OverLimit over_limit(const std::vector<Drive>& drives, const job::Job& job, double limit_w,
                     double from_s) {
  constexpr double kRoundingW = 1e-6;
  struct Step {
    double at_s, watts;
    int of_gaps;
  };
  std::vector<Step> steps;
  for (const Drive& d : drives) {
    if (d.to_s <= d.from_s || d.to_s <= from_s) continue;
    const double power = job.heads[d.head].hotend.power_w;
    const int of_gap = d.gap != Drive::kNoGap ? 1 : 0;
    steps.push_back({std::max(d.from_s, from_s), power, of_gap});
    steps.push_back({d.to_s, -power, -of_gap});
  }
  std::sort(steps.begin(), steps.end(), [](const Step& a, const Step& b) {
    return a.at_s != b.at_s ? a.at_s < b.at_s : a.watts < b.watts;
  });
  OverLimit over;
  Step now{0, 0, 0};
  for (const Step& step : steps) {
    if (now.watts > limit_w + kRoundingW) {
      (now.of_gaps > 0 ? over.of_plan_s : over.of_job_s) += step.at_s - now.at_s;
    }
    now = {step.at_s, now.watts + step.watts, now.of_gaps + step.of_gaps};
  }
  return over;
}

}  // namespace forewarm::plan
