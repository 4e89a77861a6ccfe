#include "plan/plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <tuple>
#include <utility>

#include "plan/events.h"
#include "plan/layout.h"
#include "plan/margin.h"
#include "plan/sequences.h"
#include "plan/simulate.h"
#include "plan/stagger.h"
#include "plan/treat.h"
#include "plan/words.h"

namespace forewarm::plan {

const char* name_of(Treatment treatment) {
  switch (treatment) {
    case Treatment::hold:
      return "hold";
    case Treatment::standby:
      return "standby";
    case Treatment::off:
      break;
  }
  return "off";
}

namespace {

using job::Job;
using job::kNone;
using job::Place;

// Waits and start temperatures feed back into gap lengths: planned again until they agree.
constexpr int kMostRounds = 12;
constexpr double kAgreeS = 0.02;

// When each select begins: waits before it, and those put in right before its line, are over.
std::vector<double> walls_of_selects(const Job& job, const Waits& waits) {
  std::vector<double> out;
  out.reserve(job.selects.size());
  for (const job::Select& s : job.selects) {
    out.push_back(s.at.time_s + waits.before_line(s.at.offset));
  }
  return out;
}

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
      auto steps = put_sequences(job_, rules_, breaks_);
      if (!steps) return std::move(steps.error());
      steps_ = std::move(*steps);
    }
    for (std::size_t b = 0; b < breaks_.size(); ++b) {
      if (breaks_[b].parked) parked_.push_back(b);
    }
    if (plan_.policy == rules::Policy::as_sliced) {
      outcome_ = replay();
      fill_gaps();
    } else {
      disable();
      first_guess();
      settle();
      fill_gaps();
    }
    total();
    return std::move(plan_);
  }

 private:
  // Waits make another timeline, which is answered again. Now and then two timelines lead to each
  // other, where some must be late for the heating limit: then the one that is taken keeps the
  // limit best, and of those waits least.
  void settle() {
    std::optional<std::pair<Outcome, std::vector<GapAnswer>>> best;  // asked about; answered
    std::pair<double, double> least;                                 // over the limit; waits
    for (int round = 1;; ++round) {
      answer();
      compose(false);
      Outcome next = replay();
      const bool agreed = round > 1 && agrees(next);
      if (!agreed && round >= kMostRounds / 2) {
        const std::pair cost{std::round(over_s(next)), next.waits.total()};
        if (!best || cost < least) {
          least = cost;
          best.emplace(outcome_, answers_);
        }
      }
      if (!agreed && round == kMostRounds) {
        std::tie(outcome_, answers_) = std::move(*best);
        compose(false);
        next = replay();
      }
      const bool last = agreed || round == kMostRounds;
      if (last) compose(true);
      outcome_ = std::move(next);
      if (last) break;
    }
  }

  [[nodiscard]] double over_s(const Outcome& outcome) const {
    if (!rules_.machine.heating_limit_w) return 0;
    return over_limit_s(outcome.drives, job_,
                        *rules_.machine.heating_limit_w - rules_.machine.bed_w);
  }

  void disable() {
    for (const Break& b : breaks_) {
      plan_.disabled.insert(plan_.disabled.end(), b.disabled.begin(), b.disabled.end());
    }
    std::sort(plan_.disabled.begin(), plan_.disabled.end());
  }

  // Before the first simulation: no waits, every heater where its last target says.
  void first_guess() {
    outcome_.gaps.resize(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const Break& b = breaks_[parked_[g]];
      GapOutcome& o = outcome_.gaps[g];
      o.from_s = b.from.time_s;
      o.start_c = job_.heads[b.head].hotend.ambient_c;
      if (b.before && job_.stints[*b.before].last_c) {
        o.start_c = std::max(o.start_c, *job_.stints[*b.before].last_c);
        o.start_target_c = o.start_c;
      }
    }
  }

  [[nodiscard]] bool agrees(const Outcome& next) const {
    if (!next.waits.near(outcome_.waits, kAgreeS)) return false;
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      if (std::abs(next.gaps[g].start_c - outcome_.gaps[g].start_c) > 0.05) return false;
    }
    return true;
  }

  [[nodiscard]] Outcome replay() {
    events_of(job_, breaks_, parked_, plan_, timeline_);
    return simulate(job_, timeline_, parked_.size());
  }

  [[nodiscard]] GapQuestion question(std::size_t g) const {
    const Break& b = breaks_[parked_[g]];
    GapQuestion q;
    q.hotend = job_.heads[b.head].hotend;
    q.start_c = outcome_.gaps[g].start_c;
    q.start_target_c = outcome_.gaps[g].start_target_c;
    q.standby_c = b.standby_c;
    q.max_hot_idle_s = b.max_hot_idle_s;
    q.ready_c = b.ready_c;
    const double from = outcome_.gaps[g].from_s;
    q.needs.reserve(b.needs.size());
    for (const Need& n : b.needs) {
      q.needs.push_back(
          {need_wall(b, n) - from, n.temp_c, b.exchange && n.at.offset <= b.to.offset});
    }
    q.delays = delays_;
    q.delays_from_s = from;
    q.line_at = [this, &b, from](double after_s) {
      const Place p = place_at(from + after_s, b);
      return p.offset <= b.from.offset ? 0.0 : outcome_.waits.wall(p) - from;
    };
    return q;
  }

  // What is needed before a select comes after what is put away there has got its sequence.
  [[nodiscard]] double need_wall(const Break& b, const Need& n) const {
    if (n.at.offset > b.to.offset) return outcome_.waits.wall(n.at);
    return n.at.time_s + outcome_.waits.before_late(n.at.offset);
  }

  // When tools are changed, by the timeline so far.
  void time_changes() {
    delays_.clear();
    for (const job::Select& s : job_.selects) {
      if (s.kind == job::Change::redundant) continue;
      const double from = s.at.time_s + outcome_.waits.before_line(s.at.offset);
      delays_.push_back({from, from + (s.end_s - s.at.time_s),
                         variance_of(rules_.gap, s.park_s > 0, s.pick_s > 0, s.exchange_s > 0)});
    }
  }

  void answer() {
    time_changes();
    answers_.clear();
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      answers_.push_back(treat(question(g), rules_.gap, margin_, plan_.policy));
    }
    if (rules_.machine.heating_limit_w && plan_.policy == rules::Policy::lookahead) share_power();
  }

  // Preheats that would draw too much together are told at other times.
  void share_power() {
    std::vector<std::size_t> gaps;
    std::vector<Heating> heatings;
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      if (!answers_[g].preheat_after_s) continue;
      const Break& b = breaks_[parked_[g]];
      const double from = outcome_.gaps[g].from_s;
      GapQuestion q = question(g);
      Heating h;
      h.release_s = from;
      h.latest_s = from + *answers_[g].preheat_after_s;
      h.need_s = from + q.needs.front().after_s;
      h.wait_s = outcome_.gaps[g].wait_s;
      h.watts = q.hotend.power_w;
      h.heater = b.head;
      h.line_at = [this, &b](double wall_s) { return outcome_.waits.wall(place_at(wall_s, b)); };
      h.line_after = [this](double wall_s) {
        const Place p = job_.index.first_not(
            [&](const Place& c) { return outcome_.waits.wall(c) < wall_s - 1e-9; });
        return std::max(wall_s, outcome_.waits.wall(p));
      };
      const double floor_c = answers_[g].treatment == Treatment::standby
                                 ? std::min(q.standby_c, q.ready_c)
                             : answers_[g].treatment == Treatment::hold ? q.start_target_c
                                                                        : 0;
      h.drive_s = [q = std::move(q), floor_c, from](double wall_s) {
        return drive_s(q, floor_c, std::max(0.0, wall_s - from), q.ready_c);
      };
      gaps.push_back(g);
      heatings.push_back(std::move(h));
    }
    std::vector<Drawn> fixed;
    for (const Drive& d : outcome_.drives) {
      if (!d.preheat && d.to_s > d.from_s) {
        fixed.push_back({d.from_s, d.to_s, job_.heads[d.head].hotend.power_w, d.head});
      }
    }
    const auto told =
        stagger(heatings, fixed, *rules_.machine.heating_limit_w - rules_.machine.bed_w);
    for (std::size_t i = 0; i < gaps.size(); ++i) {
      if (!told[i].late && told[i].at_s >= heatings[i].latest_s - 1e-6) continue;
      GapQuestion q = question(gaps[i]);
      q.told_at_s = told[i].at_s - heatings[i].release_s;
      answers_[gaps[i]] = treat(q, rules_.gap, margin_, plan_.policy);
    }
  }

  void add(Place at, Command::What what, const Break& b, double temp_c, std::string reason,
           int rank) {
    plan_.commands.push_back({at, what, b.head, b.tool, temp_c, "", std::move(reason), rank});
  }

  // The last place that is reached, waits included, no later than `wall_s`; not behind the first
  // need, whose wait heats whatever was told.
  [[nodiscard]] Place place_at(double wall_s, const Break& b) const {
    const Place p = job_.index.last_where(
        [&](const Place& c) { return outcome_.waits.wall(c) <= wall_s + 1e-9; });
    if (p.offset <= b.from.offset) return b.from;
    if (!b.needs.empty() && p.offset > b.needs.front().at.offset) return b.needs.front().at;
    return p;
  }

  // `words`: with reasons, which take longer to say than to have.
  void compose(bool words) {
    words_ = words;
    plan_.commands.clear();
    plan_.commands.reserve(4 * breaks_.size() + rules_.dialect.job_start.size() +
                           rules_.dialect.job_end.size());
    plan_.gaps.clear();
    for (const std::string& line : rules_.dialect.job_start) {
      plan_.commands.push_back(
          {*job_.start, Command::What::raw, 0, 0, 0, line, "planning starts here", kBegin});
    }
    std::size_t g = 0;
    for (const Break& b : breaks_) {
      if (b.parked) compose_parked(b, g++);
      // What is mounted while its filament is exchanged is hot all the way, at the hotter of the
      // two.
      waits(b);
      if (b.leaving != kNone) give(steps_[b.leaving], b.parked ? kParting : kShaping);
      if (b.arriving != kNone) give(steps_[b.arriving], kArrive);
    }
    const job::Stint& last = job_.stints.back();
    for (const std::string& line : rules_.dialect.job_end) {
      plan_.commands.push_back({{last.last_end, last.last_end_s},
                                Command::What::raw,
                                0,
                                0,
                                0,
                                line,
                                "after the last use",
                                kLast});
    }
    if (words_) sort_commands();
  }

  void give(const Steps& steps, int rank) {
    const std::string reason = words_ ? steps.name + ": " + steps.why : "";
    for (const job::StepLine& line : steps.block.lines) {
      Command c;
      c.at = steps.at;
      c.what = line.what == job::StepLine::What::set    ? Command::What::set
               : line.what == job::StepLine::What::wait ? Command::What::wait
                                                        : Command::What::raw;
      c.head = steps.head;
      c.tool = steps.tool;
      c.temp_c = line.temp_c;
      c.raw = line.text;
      c.reason = reason;
      c.rank = rank;
      c.step = true;
      c.seconds = line.seconds;
      plan_.commands.push_back(std::move(c));
    }
  }

  void sort_commands() {
    std::vector<Timeline::Key> keys;
    keys.reserve(plan_.commands.size());
    for (const Command& c : plan_.commands) {
      keys.push_back({c.at.offset, std::uint32_t(c.rank), std::uint32_t(keys.size())});
    }
    std::sort(keys.begin(), keys.end());
    std::vector<Command> sorted;
    sorted.reserve(keys.size());
    for (const Timeline::Key& k : keys) sorted.push_back(std::move(plan_.commands[k.event]));
    plan_.commands = std::move(sorted);
  }

  void compose_parked(const Break& b, std::size_t g) {
    const GapAnswer& a = answers_[g];
    const double from_s = outcome_.gaps[g].from_s;
    Gap gap;
    gap.treatment = a.treatment;
    gap.because = a.because;
    if (words_) gap.reason = words_of(a.because);
    for (std::size_t i = 0; i < a.actions.size(); ++i) {
      const GapAction& action = a.actions[i];
      const Place at = action.after_s <= 0 ? b.from : place_at(from_s + action.after_s, b);
      // Superseded if the next one falls on the same line.
      if (i + 1 < a.actions.size() &&
          place_at(from_s + a.actions[i + 1].after_s, b).offset == at.offset) {
        continue;
      }
      const double now_c = outcome_.gaps[g].start_target_c;
      const bool same_as_now = i == 0 && at.offset == b.from.offset && action.target_c == now_c &&
                               b.disabled.empty() && now_c <= 0;
      if (same_as_now) continue;
      add(at, Command::What::set, b, action.target_c, words_ ? words_of(action, a.because) : "",
          b.leaving != kNone && at.offset == b.from.offset ? kLetGo : kFirst);
      plan_.commands.back().preheat = action.what == GapAction::What::preheat;
    }
    if (a.preheat_after_s) {
      gap.preheat_at_s = outcome_.waits.wall(place_at(from_s + *a.preheat_after_s, b));
    }
    plan_.gaps.push_back(std::move(gap));
  }

  void waits(const Break& b) {
    for (std::size_t i = 0; i < b.needs.size(); ++i) {
      const Need& n = b.needs[i];
      const bool before_select = n.at.offset <= b.to.offset;
      const int rank = before_select ? kNext : kArrive;
      if (n.ours) {
        if (b.exchange && before_select) {
          add(n.at, Command::What::wait, b, n.temp_c,
              words_ ? fmt::format("wait: hot before the exchange to T{}", b.tool) : "", rank);
          if (b.ready_c > n.temp_c) {
            add(n.at, Command::What::set, b, b.ready_c, "exchange at the hotter of the two", rank);
          }
        } else {
          add(n.at, Command::What::wait, b, n.temp_c,
              words_ ? fmt::format("wait: T{} prints at {:g} C", b.tool, n.temp_c) : "", rank);
        }
      } else {
        // The job's own wait may be for less; the plan's target comes back right after it.
        const job::Target& t = job_.targets[n.target];
        const double wanted = b.exchange && before_select ? b.ready_c : b.work_c;
        const bool last = i + 1 == b.needs.size();
        const bool overtaken = !last && b.needs[i + 1].at.offset <= t.end_offset;
        if (t.has_temp && t.temp_c != wanted && !overtaken) {
          add({t.end_offset, n.at.time_s}, Command::What::set, b, wanted,
              "back to the target of the next use", rank);
        }
      }
    }
  }

  void fill_gaps() {
    plan_.gaps.resize(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const Break& b = breaks_[parked_[g]];
      Gap& gap = plan_.gaps[g];
      const GapOutcome& o = outcome_.gaps[g];
      gap.head = b.head;
      gap.before = b.before;
      gap.after = b.after;
      gap.from_s = o.from_s;
      gap.to_s = o.to_s;
      gap.dip_c = o.dip_c;
      gap.wait_s = o.wait_s;
      gap.hot_idle_s = o.hot_idle_s;
      const LeastGap best = least(question(g), o.to_s - o.from_s);
      gap.least_hot_idle_s = best.hot_idle_s;
      gap.least_wait_s = best.late_s;
    }
  }

  void total() {
    plan_.figures = outcome_.figures;
    plan_.heads = outcome_.heads;
    plan_.select_at_s = walls_of_selects(job_, outcome_.waits);
    for (const Steps& s : steps_) {
      if (s.exchange && s.block.fed_mm > 0) plan_.step_purge_mm[s.tool] += s.block.fed_mm;
    }
    std::size_t mounted = kNone;
    for (const job::Stint& s : job_.stints) {
      if (s.head != mounted) ++plan_.heads[s.head].uses;
      mounted = s.head;
    }
    for (const Gap& g : plan_.gaps) {
      HeadFigures& h = plan_.heads[g.head];
      switch (g.treatment) {
        case Treatment::hold:
          ++h.hold;
          break;
        case Treatment::standby:
          ++h.standby;
          break;
        case Treatment::off:
          ++h.off;
          break;
      }
    }
    std::stable_sort(plan_.gaps.begin(), plan_.gaps.end(),
                     [](const Gap& a, const Gap& b) { return a.from_s < b.from_s; });
  }

  const Job& job_;
  const rules::Rules& rules_;
  Plan plan_;
  std::vector<Break> breaks_;
  std::vector<Steps> steps_;
  std::vector<std::size_t> parked_;  // breaks that are gaps
  Margin margin_;
  std::vector<Delay> delays_;
  std::vector<GapAnswer> answers_;  // as parked_
  bool words_ = false;
  Timeline timeline_;
  Outcome outcome_;
};

}  // namespace

Result<Plan> make(const Job& job, const rules::Rules& rules, rules::Policy policy) {
  if (!job.worth_planning()) {
    Plan plan;
    plan.policy = policy;
    plan.heads.resize(job.heads.size());
    Timeline timeline;
    for (const job::Target& t : job.targets) {
      Event e{t.at, t.waits ? Event::What::wait : Event::What::set, t.head};
      e.has_temp = t.has_temp;
      e.temp_c = t.temp_c;
      e.cooling = t.cooling;
      timeline.order.push_back({e.at.offset, 0, std::uint32_t(timeline.events.size())});
      timeline.events.push_back(e);
    }
    Outcome outcome = simulate(job, timeline, 0);
    plan.figures = outcome.figures;
    plan.heads = outcome.heads;
    plan.select_at_s = walls_of_selects(job, outcome.waits);
    for (const job::Stint& s : job.stints) ++plan.heads[s.head].uses;
    return plan;
  }
  return Planner(job, rules, policy).run();
}

std::string broken_invariant(const Job& job, const Plan& plan) {
  std::uint64_t offset = 0;
  for (const Command& c : plan.commands) {
    if (c.at.offset < offset) return "commands out of order";
    offset = c.at.offset;
    if (job.start && c.at.offset < job.start->offset) return "a command in the start code";
    if (c.at.offset > job.bytes) return "a command beyond the end";
    if (c.what == Command::What::raw) continue;
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
        if (plan.commands[c].what != Command::What::raw) {
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
  for (const Gap& g : plan.gaps) {
    if (g.to_s < g.from_s - 1e-6) return "a gap that ends before it begins";
    if (plan.policy != rules::Policy::as_sliced && g.reason.empty())
      return "a gap without a reason";
  }
  return {};
}

}  // namespace forewarm::plan
