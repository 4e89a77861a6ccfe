#include "plan/plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "plan/layout.h"
#include "plan/simulate.h"
#include "plan/treat.h"

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
// At one place: what another heater may do meanwhile comes before what is waited for.
constexpr int kFirst = 1, kNext = 2;

class Planner {
 public:
  Planner(const Job& job, const rules::Rules& rules, rules::Policy policy)
      : job_(job), rules_(rules) {
    plan_.policy = policy;
  }

  Result<Plan> run() {
    auto breaks = lay_out(job_, rules_);
    if (!breaks) return std::move(breaks.error());
    breaks_ = std::move(*breaks);
    for (std::size_t b = 0; b < breaks_.size(); ++b) {
      if (breaks_[b].parked) parked_.push_back(b);
    }
    if (plan_.policy == rules::Policy::as_sliced) {
      outcome_ = simulate(job_, events(), parked_.size());
      fill_gaps();
    } else {
      disable();
      first_guess();
      for (int round = 0; round < kMostRounds; ++round) {
        compose();
        Outcome next = simulate(job_, events(), parked_.size());
        const bool agreed = round > 0 && agrees(next);
        outcome_ = std::move(next);
        if (agreed) break;
      }
      fill_gaps();
    }
    total();
    return std::move(plan_);
  }

 private:
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

  [[nodiscard]] GapQuestion question(std::size_t g) const {
    const Break& b = breaks_[parked_[g]];
    GapQuestion q;
    q.hotend = job_.heads[b.head].hotend;
    q.start_c = outcome_.gaps[g].start_c;
    q.start_target_c = outcome_.gaps[g].start_target_c;
    q.standby_c = b.standby_c;
    q.max_hot_idle_s = b.max_hot_idle_s;
    q.ready_c = b.ready_c;
    const double from = outcome_.waits.wall(b.from);
    for (const Need& n : b.needs) {
      q.needs.push_back({outcome_.waits.wall(n.at) - from, n.temp_c});
    }
    return q;
  }

  void add(Place at, Command::What what, const Break& b, double temp_c, std::string reason,
           int rank) {
    plan_.commands.push_back({at, what, b.head, b.tool, temp_c, "", std::move(reason), rank});
  }

  // The last place before the need that is reached, waits included, no later than `wall_s`.
  [[nodiscard]] Place place_at(double wall_s, const Break& b) const {
    const Place p = job_.index.last_where(
        [&](const Place& c) { return outcome_.waits.wall(c) <= wall_s + 1e-9; });
    if (p.offset <= b.from.offset) return b.from;
    return p;
  }

  void compose() {
    plan_.commands.clear();
    plan_.gaps.clear();
    for (const std::string& line : rules_.dialect.job_start) {
      plan_.commands.push_back(
          {*job_.start, Command::What::raw, 0, 0, 0, line, "planning starts here", kFirst - 1});
    }
    std::size_t g = 0;
    for (const Break& b : breaks_) {
      if (b.parked) {
        compose_parked(b, g++);
      } else {
        // Mounted while its filament is exchanged: hot all the way, at the hotter of the two.
        waits(b);
      }
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
                                kNext + 1});
    }
    std::stable_sort(
        plan_.commands.begin(), plan_.commands.end(), [](const Command& a, const Command& b) {
          return a.at.offset != b.at.offset ? a.at.offset < b.at.offset : a.rank < b.rank;
        });
  }

  void compose_parked(const Break& b, std::size_t g) {
    const GapQuestion q = question(g);
    const GapAnswer a = treat(q, rules_.gap, plan_.policy);
    const double from_s = outcome_.waits.wall(b.from);
    Gap gap;
    gap.head = b.head;
    gap.before = b.before;
    gap.after = b.after;
    gap.treatment = a.treatment;
    gap.reason = a.reason;
    // An action is superseded if the next one falls on the same line.
    for (std::size_t i = 0; i < a.actions.size(); ++i) {
      const Place at =
          i == 0 && a.actions[i].after_s <= 0 ? b.from : place_at(from_s + a.actions[i].after_s, b);
      if (i + 1 < a.actions.size() &&
          place_at(from_s + a.actions[i + 1].after_s, b).offset == at.offset) {
        if (i == 0 && at.offset == b.from.offset && gap.treatment != Treatment::hold) {
          gap.treatment = Treatment::hold;
          gap.reason = "held: no line stands between its parking and its preheat";
        }
        continue;
      }
      const bool same_as_now = i == 0 && at.offset == b.from.offset &&
                               a.actions[i].target_c == q.start_target_c && b.disabled.empty() &&
                               q.start_target_c <= 0;
      if (!same_as_now) {
        add(at, Command::What::set, b, a.actions[i].target_c,
            i > 0 && gap.treatment == Treatment::hold ? gap.reason : a.actions[i].reason, kFirst);
      }
    }
    if (a.preheat_after_s && gap.treatment != Treatment::hold)
      gap.preheat_at_s = outcome_.waits.wall(place_at(from_s + *a.preheat_after_s, b));
    plan_.gaps.push_back(std::move(gap));
    waits(b);
  }

  void waits(const Break& b) {
    for (std::size_t i = 0; i < b.needs.size(); ++i) {
      const Need& n = b.needs[i];
      const bool before_select = n.at.offset <= b.to.offset;
      if (n.ours) {
        if (b.exchange && before_select) {
          add(n.at, Command::What::wait, b, n.temp_c,
              fmt::format("wait: hot before the exchange to T{}", b.tool), kNext);
          if (b.ready_c > n.temp_c) {
            add(n.at, Command::What::set, b, b.ready_c, "exchange at the hotter of the two", kNext);
          }
        } else {
          add(n.at, Command::What::wait, b, n.temp_c,
              fmt::format("wait: T{} prints at {:g} C", b.tool, n.temp_c), kNext);
        }
      } else {
        // The job's own wait may be for less; the plan's target comes back right after it.
        const job::Target& t = job_.targets[n.target];
        const double wanted = b.exchange && before_select ? b.ready_c : b.work_c;
        const bool last = i + 1 == b.needs.size();
        const bool overtaken = !last && b.needs[i + 1].at.offset <= t.end_offset;
        if (t.has_temp && t.temp_c != wanted && !overtaken) {
          add({t.end_offset, n.at.time_s}, Command::What::set, b, wanted,
              "back to the target of the next use", kNext);
        }
      }
    }
  }

  // What the heaters are told, in the order of the text: the plan's commands and what stays.
  [[nodiscard]] std::vector<Event> events() const {
    struct Ordered {
      Event event;
      int rank;  // at one place: inserted lines stand before the job's own
      bool operator<(const Ordered& o) const {
        return event.at.offset != o.event.at.offset ? event.at.offset < o.event.at.offset
                                                    : rank < o.rank;
      }
    };
    std::vector<Ordered> all;
    std::vector<std::vector<std::pair<std::uint64_t, std::size_t>>> window(job_.heads.size());
    std::vector<std::uint64_t> ends(parked_.size());
    for (std::size_t g = 0; g < parked_.size(); ++g) {
      const Break& b = breaks_[parked_[g]];
      Event begin{b.from, Event::What::gap_begins, b.head};
      begin.gap = g;
      begin.threshold_c = std::min(b.standby_c, b.after ? b.ready_c : 1e9) + kHotAboveStandbyC;
      all.push_back({begin, 0});
      Event end{b.to, Event::What::gap_ends, b.head};
      end.gap = g;
      all.push_back({end, 2});
      window[b.head].emplace_back(b.from.offset, g);
      ends[g] = std::max(b.to.offset, b.needs.empty() ? 0 : b.needs.back().at.offset);
    }
    const auto gap_of = [&](std::size_t head, std::uint64_t offset) {
      auto after =
          std::upper_bound(window[head].begin(), window[head].end(), std::pair{offset, SIZE_MAX});
      if (after == window[head].begin()) return kNone;
      const std::size_t g = (after - 1)->second;
      return offset <= ends[g] ? g : kNone;
    };
    for (const Command& c : plan_.commands) {
      if (c.what == Command::What::raw) continue;
      Event e{c.at, c.what == Command::What::wait ? Event::What::wait : Event::What::set, c.head};
      e.temp_c = c.temp_c;
      e.gap = gap_of(c.head, c.at.offset);
      all.push_back({e, 1});
    }
    std::size_t d = 0;
    for (std::size_t t = 0; t < job_.targets.size(); ++t) {
      while (d < plan_.disabled.size() && plan_.disabled[d] < t) ++d;
      if (d < plan_.disabled.size() && plan_.disabled[d] == t) continue;
      const job::Target& target = job_.targets[t];
      Event e{target.at, target.waits ? Event::What::wait : Event::What::set, target.head};
      e.has_temp = target.has_temp;
      e.temp_c = target.temp_c;
      e.cooling = target.cooling;
      e.gap = gap_of(target.head, target.at.offset);
      all.push_back({e, 3});
    }
    std::stable_sort(all.begin(), all.end());
    std::vector<Event> out;
    out.reserve(all.size());
    for (Ordered& o : all) out.push_back(o.event);
    return out;
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
  std::vector<std::size_t> parked_;  // breaks that are gaps
  Outcome outcome_;
};

}  // namespace

Result<Plan> make(const Job& job, const rules::Rules& rules, rules::Policy policy) {
  if (!job.worth_planning()) {
    Plan plan;
    plan.policy = policy;
    plan.heads.resize(job.heads.size());
    std::vector<Event> events;
    for (const job::Target& t : job.targets) {
      Event e{t.at, t.waits ? Event::What::wait : Event::What::set, t.head};
      e.has_temp = t.has_temp;
      e.temp_c = t.temp_c;
      e.cooling = t.cooling;
      events.push_back(e);
    }
    Outcome outcome = simulate(job, events, 0);
    plan.figures = outcome.figures;
    plan.heads = outcome.heads;
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
