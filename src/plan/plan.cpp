#include "plan/plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <tuple>
#include <utility>

#include "plan/decide_gap.h"
#include "plan/describe.h"
#include "plan/events.h"
#include "plan/lead_time.h"
#include "plan/level_power.h"
#include "plan/origin.h"
#include "plan/sequences.h"
#include "plan/simulate.h"
#include "plan/totals.h"
#include "plan/transitions.h"

namespace forewarm::plan {

namespace {

using job::Job;
using job::kNone;
using job::Place;

// Waits and start temperatures feed back into gap lengths: planned again until they agree.
constexpr int kMaxRounds = 12;
constexpr double kAgreeS = 0.02;

class Planner {
 public:
  Planner(const Job& job, const rules::Rules& rules, rules::Policy policy)
      : job_(job), rules_(rules), margin_(rules.gap) {
    plan_.policy = policy;
  }

  Result<Plan> run() {
    auto breaks = lay_out(job_, rules_);
    if (!breaks) return std::move(breaks.error());
    breaks_ = std::move(*breaks);
    if (rules_.uses_steps && plan_.policy != rules::Policy::as_sliced) {
      auto steps = place_sequences(job_, rules_, breaks_);
      if (!steps) return std::move(steps.error());
      steps_ = std::move(*steps);
    }
    for (std::size_t b = 0; b < breaks_.size(); ++b) {
      if (breaks_[b].parked) parked_.push_back(b);
    }
    find_windows();
    if (plan_.policy == rules::Policy::as_sliced) {
      outcome_ = replay();
      fill_gaps();
    } else {
      disable();
      first_guess();
      settle();
      fill_gaps();
    }
    sum_up(job_, outcome_, plan_);
    for (const Steps& s : steps_) {
      if (s.exchange && s.block.fed_mm > 0) plan_.step_purge_mm[s.tool] += s.block.fed_mm;
    }
    return std::move(plan_);
  }

 private:
  // The lines between which a gap's commands can stand, and how it lies in the timeline so far.
  struct Window {
    std::size_t first = 0, end = 0;  // of the index
    double waited_s = 0;             // before the first of these lines
    bool waits_within = false;       // ... and more before the last
  };
  // A gap whose preheat is not told when it would be alone.
  struct Moved {
    std::size_t gap;
    double preheat_at_s;
    GapDecision other;  // of the answers alone and moved, the one that is not in answers_
  };

  // Waits make another timeline, which is answered again. Now and then two timelines lead to each
  // other, where some must be late for the heating limit: then the one that is taken keeps the
  // limit best, and of those waits least.
  void settle() {
    std::optional<std::pair<Simulation, std::vector<GapDecision>>> best;  // asked about; answered
    std::pair<double, double> least;                                      // over the limit; waits
    for (int round = 1;; ++round) {
      if (!answer()) {  // as in the round before: the same would come of it
        say();
        break;
      }
      compose();
      Simulation next = replay();
      const bool agreed = round > 1 && agrees(next);
      if (!agreed && round >= kMaxRounds / 2) {
        const std::pair cost{std::round(over_s(next)), next.waits.total()};
        if (!best || cost < least) {
          least = cost;
          best.emplace(outcome_, answers_);
        }
      }
      if (!agreed && round == kMaxRounds) {
        std::tie(outcome_, answers_) = std::move(*best);
        time_gaps();
        compose();
        next = replay();
      }
      const bool last = agreed || round == kMaxRounds;
      if (last) say();
      find_stale(next);
      outcome_ = std::move(next);
      if (last) break;
    }
  }

  [[nodiscard]] double over_s(const Simulation& outcome) const {
    if (!rules_.machine.heating_limit_w) return 0;
    return over_limit_s(outcome.drives, job_,
                        *rules_.machine.heating_limit_w - rules_.machine.bed_w);
  }

  void disable() {
    for (const Transition& b : breaks_) {
      plan_.disabled.insert(plan_.disabled.end(), b.disabled.begin(), b.disabled.end());
    }
    std::sort(plan_.disabled.begin(), plan_.disabled.end());
  }

  // Before the first simulation: no waits, heaters where their last targets say.
  void first_guess() {
    outcome_.gaps.resize(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const Transition& b = breaks_[parked_[g]];
      GapOutcome& o = outcome_.gaps[g];
      o.from_s = b.from.time_s;
      o.start_c = job_.heads[b.head].hotend.ambient_c;
      if (b.before && job_.uses[*b.before].last_c) {
        o.start_c = std::max(o.start_c, *job_.uses[*b.before].last_c);
        o.start_target_c = o.start_c;
      }
    }
  }

  [[nodiscard]] bool agrees(const Simulation& next) const {
    if (!next.waits.near(outcome_.waits, kAgreeS)) return false;
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      if (std::abs(next.gaps[g].start_c - outcome_.gaps[g].start_c) > 0.05) return false;
    }
    return true;
  }

  [[nodiscard]] Simulation replay() {
    events_of(job_, breaks_, parked_, given_, plan_.disabled, timeline_);
    return simulate(job_, timeline_, parked_.size());
  }

  // What only the text decides: the lines at which a gap's commands can stand.
  void find_windows() {
    windows_.resize(parked_.size());
    std::size_t near = 0;
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const Transition& b = breaks_[parked_[g]];
      Window& w = windows_[g];
      near = job_.index.count_to(b.from.offset, near);
      w.first = near > 0 ? near - 1 : 0;
      w.end = job_.index.size();
      if (b.needs.empty()) continue;
      near = job_.index.count_to(b.needs.front().at.offset, near);
      w.end = std::min(w.end, near + 1);
    }
  }

  // What is needed before a select comes after what is put away there has got its sequence.
  [[nodiscard]] double need_wall(const Transition& b, const HeatDeadline& n) const {
    if (n.at.offset > b.to.offset) return outcome_.waits.wall(n.at);
    return n.at.time_s + outcome_.waits.before_late(n.at.offset);
  }

  // Where the gaps lie, and when tools are changed, by the timeline so far.
  void time_gaps() {
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      Window& w = windows_[g];
      if (w.end == 0) continue;
      w.waited_s = outcome_.waits.before(job_.index[w.first].offset);
      w.waits_within = outcome_.waits.before(job_.index[w.end - 1].offset) != w.waited_s;
    }
    delays_.clear();
    delays_.reserve(job_.tool_changes.size());
    for (const job::ToolChange& s : job_.tool_changes) {
      if (s.kind == job::ChangeKind::redundant) continue;
      const double from = s.at.time_s + outcome_.waits.before_line(s.at.offset);
      delays_.push_back({from, from + (s.end_s - s.at.time_s),
                         variance_of(rules_.gap, s.park_s > 0, s.pick_s > 0, s.exchange_s > 0)});
    }
  }

  // Whether it is the exchange that leaves time to get there, not the gap.
  static bool in_exchange(const Transition& b, const HeatDeadline& n) {
    return n.at.offset > b.to.offset && n.temp_c > b.approach_c && b.approach_c < b.ready_c;
  }

  // Refers to what time_gaps() left.
  void ask(std::size_t g, GapContext& q) const {
    const Transition& b = breaks_[parked_[g]];
    q.hotend = job_.heads[b.head].hotend;
    q.start_c = outcome_.gaps[g].start_c;
    q.start_target_c = outcome_.gaps[g].start_target_c;
    q.start = outcome_.gaps[g].start;
    q.standby_c = b.standby_c;
    q.max_hot_idle_s = b.max_hot_idle_s;
    q.ready_c = b.approach_c;
    const double from = outcome_.gaps[g].from_s;
    q.parked_s = std::max(0.0, b.to.time_s + outcome_.waits.before_line(b.to.offset) - from);
    q.needs.clear();
    for (const HeatDeadline& n : b.needs) {
      if (in_exchange(b, n)) continue;
      q.needs.push_back(
          {need_wall(b, n) - from, n.temp_c, b.exchange && n.at.offset <= b.to.offset});
    }
    q.delays = delays_;
    q.delays_from_s = from;
    q.preheat_at_s.reset();
    q.line_at = [this, g](double after_s) {
      const Spot spot = spot_at(outcome_.gaps[g].from_s + after_s, g);
      return spot.at.offset <= breaks_[parked_[g]].from.offset
                 ? 0.0
                 : spot.wall_s - outcome_.gaps[g].from_s;
    };
  }

  // Gaps to be asked about anew: they start otherwise, or what is waited for within them differs.
  void find_stale(const Simulation& next) {
    const CumulativeDelay::Changes changed = next.waits.unlike(outcome_.waits);
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const Transition& b = breaks_[parked_[g]];
      const GapOutcome& was = outcome_.gaps[g];
      const GapOutcome& is = next.gaps[g];
      const std::uint64_t last = b.needs.empty() ? b.from.offset : b.needs.back().at.offset;
      stale_[g] = is.start_c != was.start_c || is.start_target_c != was.start_target_c ||
                  changed.within(b.from.offset, last);
    }
  }

  // Whether any answer is another than in the round before.
  bool answer() {
    time_gaps();
    bool news = answers_.empty();
    if (news) {
      answers_.resize(parked_.size());
      stale_.assign(parked_.size(), 1);
    }
    for (Moved& m : moved_) std::swap(answers_[m.gap], m.other);
    GapContext q;
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      if (stale_[g] == 0) continue;
      ask(g, q);
      answers_[g] = decide_gap(q, rules_.gap, margin_, plan_.policy);
      news = true;
    }
    if (rules_.machine.heating_limit_w && plan_.policy == rules::Policy::lookahead) {
      return share_power() || news;
    }
    return news;
  }

  // Preheats that would draw too much together are told at other times. Whether any of these
  // differs from the round before.
  bool share_power() {
    struct Parked {
      std::size_t gap;
      double floor_c;
    };
    std::vector<Parked> parked;
    std::vector<PreheatTask> heatings;
    parked.reserve(parked_.size());
    heatings.reserve(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const GapDecision& a = answers_[g];
      if (!a.preheat_after_s) continue;
      const Transition& b = breaks_[parked_[g]];
      const double from = outcome_.gaps[g].from_s;
      parked.push_back({g, a.treatment == Treatment::standby ? std::min(b.standby_c, b.approach_c)
                           : a.treatment == Treatment::hold  ? outcome_.gaps[g].start_target_c
                                                             : 0});
      PreheatTask& h = heatings.emplace_back();
      h.release_s = from;
      h.latest_s = from + *a.preheat_after_s;
      h.need_s = from + (need_wall(b, b.needs.front()) - from);
      h.wait_s = outcome_.gaps[g].wait_s;
      h.watts = job_.heads[b.head].hotend.power_w;
      h.heater = b.head;
      // No more than two words each: such functions need no memory of their own.
      h.line_at = [this, g](double wall_s) { return spot_at(wall_s, g).wall_s; };
      h.line_after = [this](double wall_s) {
        const Place p = job_.index.first_not(
            [&](const Place& c) { return outcome_.waits.wall(c) < wall_s - 1e-9; });
        return std::max(wall_s, outcome_.waits.wall(p));
      };
      h.drive_s = [this, p = &parked.back()](double wall_s) {
        const Transition& of = breaks_[parked_[p->gap]];
        const GapOutcome& gap = outcome_.gaps[p->gap];
        GapContext of_gap;
        of_gap.hotend = job_.heads[of.head].hotend;
        of_gap.start_c = gap.start_c;
        of_gap.start_target_c = gap.start_target_c;
        of_gap.start = gap.start;
        return forewarm::plan::drive_s(of_gap, p->floor_c, std::max(0.0, wall_s - gap.from_s),
                                       of.approach_c);
      };
    }
    std::vector<PowerLoad> fixed;
    for (const Drive& d : outcome_.drives) {
      if (!d.preheat && d.to_s > d.from_s) {
        fixed.push_back({d.from_s, d.to_s, job_.heads[d.head].hotend.power_w, d.head});
      }
    }
    const auto told =
        level_power(heatings, fixed, *rules_.machine.heating_limit_w - rules_.machine.bed_w);
    std::vector<Moved> moved;
    std::size_t as_before = 0;
    auto before = moved_.begin();
    GapContext q;
    for (std::size_t i = 0; i < parked.size(); ++i) {
      if (!told[i].late && told[i].at_s >= heatings[i].latest_s - 1e-6) continue;
      const std::size_t g = parked[i].gap;
      const double preheat_at_s = told[i].at_s - heatings[i].release_s;
      moved.push_back({g, preheat_at_s, std::move(answers_[g])});
      while (before != moved_.end() && before->gap < g) ++before;
      if (stale_[g] == 0 && before != moved_.end() && before->gap == g &&
          std::abs(before->preheat_at_s - preheat_at_s) < 1e-9) {
        answers_[g] = std::move(before->other);
        ++as_before;
        continue;
      }
      ask(g, q);
      q.preheat_at_s = preheat_at_s;
      answers_[g] = decide_gap(q, rules_.gap, margin_, plan_.policy);
    }
    const bool news = as_before != moved.size() || as_before != moved_.size();
    moved_ = std::move(moved);
    return news;
  }

  void add(Place at, Command::Kind kind, const Transition& b, double temp_c, Origin origin,
           int rank) {
    given_.push_back({at, temp_c, 0, std::uint32_t(b.head), b.tool, rank, kind});
    origins_.push_back(origin);
  }

  // Where a command may stand: before the line at a place, or right before it, after what waits and
  // sequences there take.
  struct Spot {
    Place at;
    bool after = false;
    double wall_s = 0;
  };
  // The last that is reached no later than `wall_s`; not behind the first need, whose wait heats
  // whatever was told.
  [[nodiscard]] Spot spot_at(double wall_s, std::size_t g) const {
    const Transition& b = breaks_[parked_[g]];
    const Place p = place_at(wall_s, g);
    const Spot before{p, false, outcome_.waits.wall(p)};
    if (p.offset <= b.from.offset) return before;
    if (!b.needs.empty() && p.offset >= b.needs.front().at.offset) return before;
    const double after_s = p.time_s + outcome_.waits.before_line(p.offset);
    if (after_s <= before.wall_s || after_s > wall_s + 1e-9) return before;
    return {p, true, after_s};
  }

  [[nodiscard]] Place place_at(double wall_s, std::size_t g) const {
    const Transition& b = breaks_[parked_[g]];
    const Window& w = windows_[g];
    if (w.end == 0) return b.from;
    const Place p =
        w.waits_within
            ? job_.index.last_where(
                  [&](const Place& c) { return outcome_.waits.wall(c) <= wall_s + 1e-9; }, w.first,
                  w.end)
            : job_.index.last_where(
                  [&](const Place& c) { return c.time_s + w.waited_s <= wall_s + 1e-9; }, w.first,
                  w.end);
    if (p.offset <= b.from.offset) return b.from;
    if (!b.needs.empty() && p.offset > b.needs.front().at.offset) return b.needs.front().at;
    return p;
  }

  // Without reasons, which take longer to say than to have: see say().
  void compose() {
    given_.clear();
    origins_.clear();
    std::size_t most = 2 * (breaks_.size() + parked_.size());
    for (const Steps& s : steps_) most += s.block.lines.size() + s.lower.lines.size();
    given_.reserve(most);
    origins_.reserve(most);
    for (std::uint32_t i = 0; i < rules_.dialect.job_start.size(); ++i) {
      given_.push_back({*job_.start, 0, 0, 0, 0, kBegin, Command::Kind::raw});
      origins_.push_back({Origin::Kind::start, i});
    }
    std::size_t g = 0;
    for (const Transition& b : breaks_) {
      if (b.parked) compose_parked(b, g++);
      cool_downs(b);
      // What is mounted while its filament is exchanged is hot all the way, at the hotter of the
      // two.
      waits(b);
      if (b.leaving != kNone) give(b.leaving, b.parked ? kParting : kShaping);
      if (b.arriving != kNone) give(b.arriving, kArrive);
    }
    const job::ToolUse& last = job_.uses.back();
    for (std::uint32_t i = 0; i < rules_.dialect.job_end.size(); ++i) {
      given_.push_back({{last.last_end, last.last_end_s}, 0, 0, 0, 0, kLast, Command::Kind::raw});
      origins_.push_back({Origin::Kind::end, i});
    }
  }

  // What is answered, by the timeline that it was asked about: commands in the order of the text
  // and with reasons, and when preheats are.
  void say() {
    preheats_s_.resize(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const GapDecision& a = answers_[g];
      if (!a.preheat_after_s) continue;
      preheats_s_[g] = spot_at(outcome_.gaps[g].from_s + *a.preheat_after_s, g).wall_s;
    }
    std::vector<Timeline::Key> keys;
    keys.reserve(given_.size());
    for (const CommandDraft& c : given_) {
      keys.push_back({c.at.offset, std::uint32_t(c.rank), std::uint32_t(keys.size())});
    }
    std::sort(keys.begin(), keys.end());
    plan_.commands.reserve(keys.size());
    for (const Timeline::Key& k : keys) {
      Command& c = plan_.commands.emplace_back();
      static_cast<CommandDraft&>(c) = given_[k.event];
      plan::say(c, origins_[k.event], rules_.dialect, answers_, steps_);
    }
  }

  void give(std::size_t s, int rank) {
    const Steps& steps = steps_[s];
    for (std::size_t i = 0; i < steps.block.lines.size(); ++i) {
      const job::StepLine& line = steps.block.lines[i];
      CommandDraft& c = given_.emplace_back();
      c.at = steps.at;
      c.kind = line.kind == job::StepLine::Kind::set    ? Command::Kind::set
               : line.kind == job::StepLine::Kind::wait ? Command::Kind::wait
                                                        : Command::Kind::raw;
      c.head = std::uint32_t(steps.head);
      c.tool = steps.tool;
      c.temp_c = line.temp_c;
      c.rank = rank;
      c.step = true;
      c.seconds = line.seconds;
      origins_.push_back({Origin::Kind::step, std::uint32_t(i), std::uint32_t(s)});
    }
    for (std::uint32_t i = 0; i < steps.lower.lines.size(); ++i) {
      given_.push_back({steps.lower_at, 0, steps.lower.lines[i].seconds, std::uint32_t(steps.head),
                        steps.tool, kLower, Command::Kind::raw});
      origins_.push_back({Origin::Kind::lower, i, std::uint32_t(s)});
    }
  }

  void compose_parked(const Transition& b, std::size_t g) {
    const GapDecision& a = answers_[g];
    const double from_s = outcome_.gaps[g].from_s;
    for (std::size_t i = 0; i < a.actions.size(); ++i) {
      const GapAction& action = a.actions[i];
      const Spot spot = action.after_s <= 0 ? Spot{b.from} : spot_at(from_s + action.after_s, g);
      const Place at = spot.at;
      if (i + 1 < a.actions.size() &&
          spot_at(from_s + a.actions[i + 1].after_s, g).at.offset == at.offset) {
        continue;  // superseded
      }
      const double now_c = outcome_.gaps[g].start_target_c;
      const bool same_as_now = i == 0 && at.offset == b.from.offset && action.target_c == now_c &&
                               b.disabled.empty() && now_c <= 0;
      if (same_as_now) continue;
      const bool parting = at.offset == b.from.offset && (b.leaving != kNone || b.arrived_at_from);
      const int rank = spot.after ? kAfter : parting ? kLetGo : kFirst;
      add(at, Command::Kind::set, b, action.target_c,
          {Origin::Kind::action, std::uint32_t(i), std::uint32_t(g)}, rank);
      given_.back().preheat = action.kind == GapAction::Kind::preheat;
    }
  }

  // A wait for cooling down sets a target, which nothing needs.
  void cool_downs(const Transition& b) {
    if (b.put_away) {
      add(*b.put_away, Command::Kind::set, b, 0, {Origin::Kind::cools},
          b.leaving != kNone ? kLetGo : kFirst);
    }
    for (const std::size_t t : b.cool_downs) {
      const job::Target& target = job_.targets[t];
      if (b.after || target.at.offset < b.from.offset) continue;
      add({target.end_offset, target.at.time_s}, Command::Kind::set, b, 0, {Origin::Kind::cooled},
          kFirst);
    }
  }

  void waits(const Transition& b) {
    for (std::size_t i = 0; i < b.needs.size(); ++i) {
      const HeatDeadline& n = b.needs[i];
      const bool before_select = n.at.offset <= b.to.offset;
      const int rank = before_select ? kNext : kArrive;
      if (n.ours) {
        if (n.guards_exchange) {
          add(n.at, Command::Kind::wait, b, n.temp_c, {Origin::Kind::exchange}, rank);
          if (b.ready_c > n.temp_c) {
            add(n.at, Command::Kind::set, b, b.ready_c, {Origin::Kind::hotter}, rank);
          }
        } else {
          add(n.at, Command::Kind::wait, b, n.temp_c, {Origin::Kind::print}, rank);
        }
      } else {
        // The job's own wait may be for less; the plan's target comes back right after it.
        const job::Target& t = job_.targets[n.target];
        const double wanted = b.exchange && n.at.offset < b.to.offset ? b.approach_c : b.work_c;
        const bool last = i + 1 == b.needs.size();
        // Timers do not heat again by themselves for one that names no temperature.
        const bool timers = last && !b.exchange && plan_.policy == rules::Policy::timers;
        const Place behind{t.has_temp ? t.end_offset : n.at.offset, n.at.time_s};
        // What is waited for next says what it is then; until that it is no colder than wanted.
        if (t.has_temp ? t.temp_c != wanted && (last || t.temp_c < wanted) : timers) {
          add(behind, Command::Kind::set, b, wanted, {Origin::Kind::back}, rank);
        }
      }
    }
  }

  void fill_gaps() {
    std::vector<std::pair<double, std::size_t>> by_start;
    by_start.reserve(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      by_start.emplace_back(outcome_.gaps[g].from_s, g);
    }
    std::sort(by_start.begin(), by_start.end());
    time_gaps();
    GapContext q;
    for (const auto& [from_s, g] : by_start) {
      const Transition& b = breaks_[parked_[g]];
      GapPlan& gap = plan_.gaps.emplace_back();
      const GapOutcome& o = outcome_.gaps[g];
      gap.head = b.head;
      gap.before = b.before;
      gap.after = b.after;
      gap.from_s = o.from_s;
      gap.to_s = o.to_s;
      gap.dip_c = o.dip_c;
      gap.wait_s = o.wait_s;
      gap.hot_idle_s = o.hot_idle_s;
      ask(g, q);
      const LeastGap best = least(q, o.to_s - o.from_s);
      gap.least_hot_idle_s = best.hot_idle_s;
      gap.least_wait_s = best.late_s;
      if (answers_.empty()) continue;  // as sliced
      const GapDecision& a = answers_[g];
      gap.treatment = a.treatment;
      gap.rationale = a.rationale;
      gap.reason = describe(a.rationale);
      if (a.preheat_after_s) gap.preheat_at_s = preheats_s_[g];
    }
  }

  const Job& job_;
  const rules::Rules& rules_;
  Plan plan_;
  std::vector<Transition> breaks_;
  std::vector<Steps> steps_;
  std::vector<std::size_t> parked_;  // breaks that are gaps
  LeadTimeModel margin_;
  std::vector<ChangeoverTime> delays_;
  std::vector<Window> windows_;       // as parked_
  std::vector<char> stale_;           // as parked_
  std::vector<GapDecision> answers_;  // as parked_
  std::vector<double> preheats_s_;    // as parked_, wall
  std::vector<Moved> moved_;          // gaps ascending
  std::vector<CommandDraft> given_;   // the commands, as they come
  std::vector<Origin> origins_;       // as given_
  Timeline timeline_;
  Simulation outcome_;
};

}  // namespace

Result<Plan> make(const Job& job, const rules::Rules& rules, rules::Policy policy) {
  if (!job.worth_planning()) {
    Plan plan;
    plan.policy = policy;
    Timeline timeline;
    own_events_of(job, timeline);
    sum_up(job, simulate(job, timeline, 0), plan);
    return plan;
  }
  return Planner(job, rules, policy).run();
}

}  // namespace forewarm::plan
