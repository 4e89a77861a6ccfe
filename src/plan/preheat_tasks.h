// The preheats that gaps ask for, as tasks for power_schedule.h, and what else draws power
// meanwhile.
//
// Each task knows where commands can stand in its gap, how long full drive takes from there, and
// how much warmer its heater may wait, so that scheduling needs neither job nor transitions.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "plan/basis.h"
#include "plan/decide_gap.h"
#include "plan/power_schedule.h"

namespace forewarm::plan {

// A gap's heater while it waits for its preheat.
class GapHeater final : public ParkedHeater {
 public:
  // REQUIRES: all outlive it; `decision` was made on `basis`, for its gap alone.
  GapHeater(const Problem& problem, const Basis& basis, const LeadTimeModel& lead_time,
            std::size_t gap, const GapDecision& decision);
  [[nodiscard]] std::size_t levels() const override;
  [[nodiscard]] bool is_driven(std::size_t level) const override;
  [[nodiscard]] double latest_s(std::size_t level) const override;
  [[nodiscard]] double drive_s(std::size_t level, double parked_s) const override;
  [[nodiscard]] double ready_s(std::size_t level, double parked_s) const override;
  [[nodiscard]] double line_at(double wall_s) const override;
  [[nodiscard]] double line_after(double wall_s) const override;

  [[nodiscard]] std::size_t gap() const { return gap_; }
  // What level means to decide_gap(); nothing at 0.
  [[nodiscard]] std::optional<Warmth> warmth(std::size_t level) const;

 private:
  struct Level {
    Warmth warmth = Warmth::standby;
    double floor_c = 0;
    std::optional<double> latest_s = {};  // once it was asked for
  };
  void find_levels() const;
  [[nodiscard]] double floor_c(std::size_t level) const {
    return level == 0 ? decision_.floor_c : warmer_[level - 1].floor_c;
  }

  const Problem& problem_;
  const Basis& basis_;
  const LeadTimeModel& lead_time_;
  std::size_t gap_;
  const GapDecision& decision_;
  GapContext heater_;  // of the context, what tells how the heater cools
  // Found when they are asked for, as few gaps compete.
  mutable std::array<Level, 2> warmer_;
  mutable std::size_t levels_ = 0;  // 0: not yet found
};

// Tasks refer to heaters; moving keeps that, copying would not.
struct PreheatTasks {
  std::vector<GapHeater> heaters;
  std::vector<PreheatTask> tasks;  // as heaters, gaps ascending
  PreheatTasks() = default;
  PreheatTasks(PreheatTasks&&) = default;
  PreheatTasks& operator=(PreheatTasks&&) = delete;
};

// One for each decision that preheats. REQUIRES: `decisions` were made on `basis`, each for its gap
// alone; all that is given outlives what is returned.
[[nodiscard]] PreheatTasks preheat_tasks(const Problem& problem, const Basis& basis,
                                         const LeadTimeModel& lead_time,
                                         std::span<const GapDecision> decisions);

// What heaters draw on the basis but for the gaps of these tasks.
[[nodiscard]] std::vector<PowerLoad> other_loads(const Problem& problem, const Basis& basis,
                                                 const PreheatTasks& preheats);

}  // namespace forewarm::plan
