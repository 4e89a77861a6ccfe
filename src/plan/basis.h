// The timeline that gaps are decided on: a simulation, and what follows from it for each gap.
//
// It also has the lines of those sequences that make up for what oozed: how much that is depends on
// how long heaters were hot, and what it takes lengthens other gaps in turn.
//
// Waits lengthen other gaps, so decisions are made on the timeline of the round before. A Basis
// says where each gap lies in that timeline, when tools are changed, and where a command can stand.
//
// Nothing changes a Basis once it is made. It refers to its problem, which must outlive it; the
// contexts that it gives out refer to the Basis.
#pragma once

#include <cstddef>
#include <vector>

#include "plan/decide_gap.h"
#include "plan/problem.h"
#include "plan/simulate.h"

namespace forewarm::plan {

// Where a command can stand: before the line at a place, or right before it, after what waits and
// sequences take there.
struct Spot {
  job::Place at;
  bool after = false;
  double wall_s = 0;
};

class Basis {
 public:
  Basis(const Problem& problem, Simulation simulation);
  // Of the timeline of one, with what there is to make up for on that of another.
  Basis(const Basis& timeline, const Basis& make_ups);
  Basis(const Basis&) = delete;
  Basis& operator=(const Basis&) = delete;

  [[nodiscard]] const Simulation& simulation() const { return simulation_; }
  [[nodiscard]] const GapOutcome& gap(std::size_t g) const { return simulation_.gaps[g]; }

  // What decide_gap() is asked about the gap. `into` is made anew; its memory is used again.
  void context(std::size_t g, GapContext& into) const;
  // The last spot of the gap that is reached no later than `wall_s`. It lies no later than the
  // first deadline, whose wait heats anyway.
  [[nodiscard]] Spot spot_at(double wall_s, std::size_t g) const;
  // When it is reached, on this timeline.
  [[nodiscard]] double wall_s(const Spot& spot) const {
    const CumulativeDelay& waits = simulation_.waits;
    return spot.after ? spot.at.time_s + waits.before_line(spot.at.offset) : waits.wall(spot.at);
  }
  // The first moment, no earlier than `wall_s`, at which a command of the gap can stand.
  [[nodiscard]] double line_after_s(double wall_s, std::size_t g) const;
  // The lines of a sequence of the problem, with what there is to make up for on this timeline.
  [[nodiscard]] const job::StepBlock& block(std::size_t sequence) const;
  // For how many seconds hot that is.
  [[nodiscard]] double hot_s(std::size_t sequence) const;
  // Whether the same is made up for everywhere, to some hundredths of a mm.
  [[nodiscard]] bool makes_up_as(const Basis& other, double within_mm) const;
  [[nodiscard]] double deadline_s(const Transition& t, const HeatDeadline& deadline) const;

 private:
  // What is waited for before a gap's insertion window, and whether there are more waits within it.
  struct WindowDelay {
    double before_s = 0;
    bool within = false;
  };
  [[nodiscard]] double parked_hot_s(const MakeUp& make_up) const;
  [[nodiscard]] job::Place place_at(double wall_s, std::size_t g) const;

  const Problem& problem_;
  Simulation simulation_;
  std::vector<WindowDelay> delays_;          // as problem.gaps
  std::vector<ChangeoverTime> changeovers_;  // wall
  std::vector<job::StepBlock> made_up_;      // as problem.make_ups
  std::vector<double> hot_s_;                // likewise
};

}  // namespace forewarm::plan
