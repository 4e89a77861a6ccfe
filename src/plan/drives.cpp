#include "plan/drives.h"

#include <algorithm>
#include <utility>

namespace forewarm::plan {

double peak_heating_w(const std::vector<Drive>& drives, const job::Job& job) {
  constexpr double kRoundingS = 1e-6;
  std::vector<std::pair<double, double>> steps;
  for (const Drive& d : drives) {
    if (d.to_s - d.from_s <= kRoundingS) continue;
    const double power = job.heads[d.head].hotend.power_w;
    steps.emplace_back(d.from_s, power);
    steps.emplace_back(d.to_s - kRoundingS, -power);
  }
  std::sort(steps.begin(), steps.end());
  double now = 0;
  double peak = 0;
  for (const auto& [time, power] : steps) peak = std::max(peak, now += power);
  return peak;
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
