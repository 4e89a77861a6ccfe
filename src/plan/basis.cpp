#include "plan/basis.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace forewarm::plan {

using job::Place;

namespace {

// Moments that differ by rounding alone are the same.
constexpr double kRoundingS = 1e-9;

// Whether the exchange, not the gap, leaves the time to heat on to the deadline's temperature.
bool met_in_exchange(const Transition& t, const HeatDeadline& d) {
  return d.at.offset > t.to.offset && d.temp_c > t.approach_c && t.approach_c < t.ready_c;
}

}  // namespace

Basis::Basis(const Problem& problem, Simulation simulation)
    : problem_(problem), simulation_(std::move(simulation)) {
  const job::Job& job = problem_.job;
  const job::Index& lines = problem_.lines();
  const CumulativeDelay& waits = simulation_.waits;
  delays_.resize(problem_.gaps.size());
  for (std::size_t g = 0; g < delays_.size(); ++g) {
    const InsertionWindow& w = problem_.windows[g];
    if (w.end == 0) continue;
    delays_[g].before_s = waits.before(lines[w.first].offset);
    delays_[g].within = waits.before(lines[w.end - 1].offset) != delays_[g].before_s;
  }
  changeovers_.reserve(job.tool_changes.size());
  for (const job::ToolChange& c : job.tool_changes) {
    if (c.kind == job::ChangeKind::redundant) continue;
    const double from = c.at.time_s + waits.before_line(c.at.offset);
    changeovers_.push_back(
        {from, from + (c.end_s - c.at.time_s),
         variance_of(problem_.rules.gap, c.park_s > 0, c.pick_s > 0, c.exchange_s > 0)});
  }
  made_up_.reserve(problem_.make_ups.size());
  for (const MakeUp& m : problem_.make_ups) {
    const Steps& steps = problem_.sequences[m.sequence];
    job::StepQuestion question = m.question;
    hot_s_.push_back(parked_hot_s(m));
    question.hot_s = hot_s_.back();
    auto block = job::lines_of(*problem_.rules.sequence(steps.name), question);
    // What can be done for at_most_mm can be done for less.
    made_up_.push_back(block ? std::move(*block) : steps.block);
  }
}

Basis::Basis(const Basis& timeline, const Basis& make_ups)
    : problem_(timeline.problem_),
      simulation_(timeline.simulation_),
      delays_(timeline.delays_),
      changeovers_(timeline.changeovers_),
      made_up_(make_ups.made_up_),
      hot_s_(make_ups.hot_s_) {}

double Basis::hot_s(std::size_t sequence) const {
  return hot_s_[problem_.sequences[sequence].make_up];
}

const job::StepBlock& Basis::block(std::size_t sequence) const {
  const Steps& steps = problem_.sequences[sequence];
  return steps.make_up == job::kNone ? steps.block : made_up_[steps.make_up];
}

double Basis::parked_hot_s(const MakeUp& make_up) const {
  double sum = 0;
  for (const std::size_t g : make_up.gaps) sum += gap(g).hot_idle_s - gap(g).hot_mounted_s;
  return sum;
}

bool Basis::makes_up_as(const Basis& other, double within_mm) const {
  return std::equal(made_up_.begin(), made_up_.end(), other.made_up_.begin(), other.made_up_.end(),
                    [within_mm](const job::StepBlock& a, const job::StepBlock& b) {
                      return std::abs(a.made_up_mm - b.made_up_mm) <= within_mm;
                    });
}

void Basis::context(std::size_t g, GapContext& into) const {
  const Transition& t = problem_.gap(g);
  const GapOutcome& outcome = gap(g);
  into.hotend = problem_.job.heads[t.head].hotend;
  into.start_c = outcome.start_c;
  into.start_target_c = outcome.start_target_c;
  into.start = outcome.start;
  into.standby_c = t.standby_c;
  into.max_hot_idle_s = t.max_hot_idle_s;
  into.ready_c = t.approach_c;
  const double from_s = outcome.from_s;
  into.parked_s = std::max(0.0, t.to.time_s + simulation_.waits.before_line(t.to.offset) - from_s);
  into.after_pause = t.pause.has_value();
  into.deadlines.clear();
  const rules::Dialect& dialect = problem_.rules.dialect;
  for (const HeatDeadline& d : t.deadlines) {
    if (met_in_exchange(t, d)) continue;
    into.deadlines.push_back(
        {deadline_s(t, d) - from_s, d.temp_c, t.exchange && d.at.offset <= t.to.offset});
    if (d.ours && dialect.waits_for_least()) into.deadlines.back().window_c = dialect.wait_window_c;
  }
  into.changeovers = changeovers_;
  into.start_s = from_s;
  into.limited = problem_.limited();
  into.preheat_at_s.reset();
  into.warmth.reset();
  into.least_floor_c = 0;
  into.line_at = [this, g](double after_s) {
    const double start_s = gap(g).from_s;
    const Spot spot = spot_at(start_s + after_s, g);
    const bool at_start = spot.at.offset <= problem_.gap(g).from.offset && !spot.after;
    return at_start ? 0.0 : spot.wall_s - start_s;
  };
}

// A deadline before a select comes after the sequence of what is put away there.
double Basis::deadline_s(const Transition& t, const HeatDeadline& deadline) const {
  const CumulativeDelay& waits = simulation_.waits;
  if (deadline.at.offset > t.to.offset) return waits.wall(deadline.at);
  return deadline.at.time_s + waits.before_late(deadline.at.offset);
}

Spot Basis::spot_at(double wall_s, std::size_t g) const {
  const Transition& t = problem_.gap(g);
  const CumulativeDelay& waits = simulation_.waits;
  const Place p = place_at(wall_s, g);
  const Spot before{p, false, waits.wall(p)};
  if (!t.deadlines.empty() && p.offset >= t.deadlines.front().at.offset) return before;
  const double after_s = p.time_s + waits.before_line(p.offset);
  if (after_s <= before.wall_s || after_s > wall_s + kRoundingS) return before;
  return {p, true, after_s};
}

Place Basis::place_at(double wall_s, std::size_t g) const {
  const Transition& t = problem_.gap(g);
  const InsertionWindow& w = problem_.windows[g];
  if (w.end == 0) return t.from;
  const double before_s = delays_[g].before_s;
  const auto& index = problem_.lines();
  const Place p =
      delays_[g].within
          ? index.last_where(
                [&](const Place& c) { return simulation_.waits.wall(c) <= wall_s + kRoundingS; },
                w.first, w.end)
          : index.last_where(
                [&](const Place& c) { return c.time_s + before_s <= wall_s + kRoundingS; }, w.first,
                w.end);
  if (p.offset <= t.from.offset) return t.from;
  if (!t.deadlines.empty() && p.offset > t.deadlines.front().at.offset)
    return t.deadlines.front().at;
  return p;
}

double Basis::line_after_s(double wall_s, std::size_t g) const {
  if (wall_s <= gap(g).from_s + kRoundingS) return std::max(wall_s, gap(g).from_s);
  const CumulativeDelay& waits = simulation_.waits;
  const auto [before, first] =
      problem_.lines().around([&](const Place& c) { return waits.wall(c) < wall_s - kRoundingS; });
  // Behind what is waited for at the line before, or before the first line.
  const double after_s = before.time_s + waits.before_line(before.offset);
  if (after_s >= wall_s - kRoundingS) return std::max(wall_s, after_s);
  return std::max(wall_s, waits.wall(first));
}

}  // namespace forewarm::plan
