// Whether something stands in for each wait of the job's own that was removed.
//
// Another wait may have made sure of it before, or does so before the visit is over. Before
// filament moves that is judged elsewhere, by what it moves at; a wait removed after the last
// movement of a visit matters only if the toolhead is used again. What is missing goes to
// `findings`. Lifetime: heads and findings outlive it.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "check/finding.h"
#include "check/heads.h"

namespace forewarm::check {

class RemovedWaits {
 public:
  RemovedWaits(const Heads& heads, Findings& findings) : heads_(heads), findings_(findings) {}

  struct Wait {
    std::size_t head = kNone;
    double temp_c = 0;
    std::uint64_t line = 0;
    bool after_use = false;  // filament had moved in that visit
  };
  // A wait for the mounted toolhead was removed.
  void remove(const Wait& wait) {
    if (waited_c(wait.head) < wait.temp_c) missing_ = wait;
  }
  // The heater is given a target in the rewrite, or waited for.
  void command(std::size_t head, std::optional<double> temp_c, bool waits);
  // The job moves filament; `in_use`: not for the first time in this visit.
  void filament(std::size_t head, bool in_use) {
    if (missing_ || !after_use_.empty()) settle(head, in_use);
  }
  void visit_over();

 private:
  // What was last waited for, and is still the target; 0: nothing.
  double& waited_c(std::size_t head) {
    if (waited_c_.size() <= head) waited_c_.resize(head + 1, 0);
    return waited_c_[head];
  }
  void settle(std::size_t head, bool in_use);
  void say(const Wait& wait);

  const Heads& heads_;
  Findings& findings_;
  std::optional<Wait> missing_;  // in this visit
  std::vector<Wait> after_use_;  // of visits before; the use may have been the last
  std::vector<double> waited_c_;
};

}  // namespace forewarm::check
