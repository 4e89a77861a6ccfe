// Decides what the heaters do in all gaps of a problem, on one basis after the other.
//
// Each gap is decided alone (decide_gap.h). With a heating limit, those that compete for power are
// then decided together (power_schedule.h): how warm their heaters wait, and when each is
// preheated.
//
// Between two bases most gaps stay as they were. The Decider alone remembers what need not be
// decided again; what it decides depends on problem and basis only.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "plan/basis.h"
#include "plan/decide_gap.h"
#include "plan/lead_time.h"
#include "plan/problem.h"

namespace forewarm::plan {

class Decider {
 public:
  explicit Decider(const Problem& problem);
  // Decides on `basis`. False if all decisions are those of the basis before.
  bool decide(const Basis& basis);
  // The next basis will be `next`: gaps that it changes are to be decided anew.
  void mark_stale(const Basis& basis, const Basis& next);
  // As problem.gaps.
  [[nodiscard]] const std::vector<GapDecision>& decisions() const { return decisions_; }

 private:
  // A gap that is not decided as it would be alone.
  struct ScheduledGap {
    std::size_t gap;
    double preheat_at_s;  // from the gap's start
    std::optional<Warmth> warmth;
    GapDecision other;  // of the decisions alone and scheduled, the one that is not in decisions_
  };
  bool decide_stale(const Basis& basis);
  bool schedule(const Basis& basis);

  const Problem& problem_;
  LeadTimeModel lead_time_;
  std::vector<GapDecision> decisions_;   // as problem.gaps
  std::vector<char> stale_;              // as problem.gaps
  std::vector<ScheduledGap> scheduled_;  // gaps ascending
  bool decided_ = false;                 // on any basis
  GapContext context_;                   // its memory is used for each gap
};

}  // namespace forewarm::plan
