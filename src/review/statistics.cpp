#include "review/statistics.h"

#include <map>
#include <utility>

namespace forewarm::review {

namespace {

void judge_on_time(const Schedule& schedule, const rules::Rules& rules, Review& out) {
  OnTime& o = out.on_time;
  o.promised = rules.gap.on_time;
  if (!schedule.feeds) return;
  for (const ChangeSeen& c : out.changes) {
    if (!c.late_s) continue;
    ++o.uses;
    if (*c.late_s > kLateS) ++o.late;
  }
  if (o.uses > 0) o.late_share = wilson(o.late, o.uses, kLevel);
}

void find_stats(const Schedule& schedule, Review& out) {
  using Kind = Stat::Kind;
  std::map<std::pair<Kind, std::size_t>, std::vector<double>> took, rule;
  for (const ChangeSeen& seen : out.changes) {
    const PlannedChange& c = schedule.changes[seen.change];
    if (seen.took_s) ++(c.exchanges() ? out.exchanges : out.toolhead_changes);
    if (!seen.took_s || !seen.counts || c.takes_s() <= 0 || c.head == job::kNone) continue;
    const std::pair key{c.exchanges() ? Kind::exchange : Kind::park_pick, c.head};
    const double rule_s = c.exchanges() ? c.exchange_s : c.park_s + c.pick_s;
    took[key].push_back(*seen.took_s - seen.stop_s - (c.takes_s() - rule_s));
    rule[key].push_back(rule_s);
  }
  for (const auto& [key, values] : took) {
    out.stats.push_back(stat_of(key.first, key.second, values, moments(rule[key]).mean));
  }
}

void find_odds(const Schedule& schedule, const rules::Rules& rules, Review& out) {
  const std::size_t heads = rules.toolheads.size();
  std::vector<Odds> of_head(heads);
  Odds feeder;
  for (const ChangeSeen& seen : out.changes) {
    const PlannedChange& c = schedule.changes[seen.change];
    if (!seen.took_s || c.head >= heads) continue;
    const std::uint64_t stopped = seen.stop_s > 0 ? 1 : 0;
    // Where the filament has odds of its own, it may not have been the feeder that failed.
    if (c.exchanges() && !rules.filament(c.tool).fault_odds) {
      ++feeder.changes;
      feeder.stops += stopped;
    }
    if (c.pick_s > 0) {
      Odds& odds = of_head[c.head];
      ++odds.changes;
      // Where both were done, it is the exchange that is taken to have failed.
      if (!c.exchanges()) odds.stops += stopped;
    }
  }
  const auto keep = [&](Odds odds) {
    if (odds.changes == 0) return;
    odds.value = (double(odds.stops) + 0.5) / (double(odds.changes) + 1);
    odds.interval = wilson(odds.stops, odds.changes, kLevel);
    out.odds.push_back(odds);
  };
  keep(feeder);
  for (std::size_t h = 0; h < heads; ++h) {
    of_head[h].head = h;
    keep(of_head[h]);
  }
}

}  // namespace

void add_statistics(const Schedule& schedule, const rules::Rules& rules, Review& review) {
  judge_on_time(schedule, rules, review);
  find_stats(schedule, review);
  find_odds(schedule, rules, review);
}

Stat stat_of(Stat::Kind kind, std::size_t head, const std::vector<double>& took_s, double rule_s) {
  const Moments m = moments(took_s);
  return {kind, head, took_s.size(), median(took_s), m.mean, m.sd, rule_s};
}

const char* name_of(Stat::Kind kind) {
  switch (kind) {
    case Stat::Kind::park_pick:
      return "park_pick";
    case Stat::Kind::exchange:
      return "exchange";
    case Stat::Kind::sequence:
      return "sequence";
  }
  return "";
}

const char* name_of(StopSeen::After after) {
  switch (after) {
    case StopSeen::After::moving:
      return "moving";
    case StopSeen::After::park_pick:
      return "park_pick";
    case StopSeen::After::exchange:
      return "exchange";
    case StopSeen::After::waiting:
      return "waiting";
  }
  return "";
}

}  // namespace forewarm::review
