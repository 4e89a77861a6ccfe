#include "report/attention.h"

#include <fmt/format.h>

#include <algorithm>

#include "report/beginnings.h"
#include "report/figures.h"
#include "report/forecast_tables.h"
#include "report/report.h"

namespace forewarm::report {

bool away_at(const Schedule& schedule, LocalTime time) {
  return std::any_of(schedule.away.begin(), schedule.away.end(),
                     [time](const Away& away) { return away.covers(time); });
}

namespace {

AtStart at_start(const Attention& attention, const Schedule& schedule, LocalTime start) {
  AtStart out{start, 0, {}};
  double stops = 0;
  for (const Attention::Change& c : attention.changes) {
    if (!c.exchanges && c.expected_stops <= 0) continue;
    if (!away_at(schedule, later(start, c.at_s))) continue;
    out.exchanges_away += c.exchanges ? 1 : 0;
    stops += c.expected_stops;
  }
  for (const double at_s : attention.pauses) {
    stops += away_at(schedule, later(start, at_s)) ? 1 : 0;
  }
  if (attention.expected_stops) out.expected_stops_away = stops;
  return out;
}

double seconds_of(const job::ToolChange& s) { return s.park_s + s.pick_s + s.exchange_s; }

// The odds of the stops that a change may bring: of picking, of exchanging.
struct ChangeOdds {
  double pick = 0, exchange = 0;
};
ChangeOdds odds_of(const job::Job& job, const job::ToolChange& s, const rules::Rules& rules) {
  ChangeOdds out;
  if (s.picks()) out.pick = job.heads[s.head].fault_odds.value_or(0);
  if (s.exchanges()) out.exchange = rules::exchange_odds(rules.feeder, rules.filament(s.tool));
  return out;
}

// The uses that each change lies between, and what the gap that it ends was.
void add_uses(const job::Job& job, const plan::Plan& plan, std::vector<Attention::Change>& out) {
  std::vector<std::size_t> change_of(job.uses.size(), job::kNone);  // that began the use
  for (std::size_t u = 0; u < job.uses.size(); ++u) {
    const job::ToolUse& use = job.uses[u];
    if (use.select >= out.size()) continue;
    out[use.select].to_c = use.work_c;
    if (u > 0) out[use.select].from_c = job.uses[u - 1].last_c;
    change_of[u] = use.select;
  }
  for (const plan::GapPlan& gap : plan.gaps) {
    if (!gap.after || *gap.after >= change_of.size()) continue;
    const std::size_t i = change_of[*gap.after];
    if (i != job::kNone) out[i].treatment = gap.treatment;
  }
  const std::size_t timed = std::min(out.size(), plan.change_delays.size());
  for (std::size_t i = 0; i < timed; ++i) {
    out[i].wait_s = plan.change_delays[i].wait_s;
    out[i].sequence_s = plan.change_delays[i].sequence_s;
  }
}

}  // namespace

std::vector<LocalTime> starts_of(const Schedule& schedule) {
  std::vector<LocalTime> out{schedule.start};
  for (std::int64_t s = kStartGridS; s < schedule.within_s; s += kStartGridS) {
    out.push_back({schedule.start.s + s});
  }
  return out;
}

std::vector<PossibleStop> possible_stops(const job::Job& job, const plan::Plan& plan,
                                         const rules::Rules& rules) {
  std::vector<PossibleStop> out;
  for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
    const ChangeOdds odds = odds_of(job, job.tool_changes[i], rules);
    const double at_s = plan.change_at_s[i];
    // A change has the same draws whatever its odds are.
    if (odds.pick > 0) out.push_back({at_s, odds.pick, 2 * i});
    if (odds.exchange > 0) out.push_back({at_s, odds.exchange, 2 * i + 1});
  }
  // A pause that the job asks for is certain.
  for (std::size_t i = 0; i < plan.pause_at_s.size(); ++i) {
    out.push_back({plan.pause_at_s[i], 1, 2 * job.tool_changes.size() + i});
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const PossibleStop& a, const PossibleStop& b) { return a.at_s < b.at_s; });
  return out;
}

std::optional<Finishing> finishing_of(const job::Job& job, const plan::Plan& plan,
                                      const rules::Rules& rules, const Schedule& schedule) {
  FinishProblem problem;
  problem.stops = possible_stops(job, plan, rules);
  const bool certain = std::any_of(problem.stops.begin(), problem.stops.end(),
                                   [](const PossibleStop& s) { return s.odds >= 1; });
  if (!rules.gives_odds() && !certain) return std::nullopt;
  problem.duration_s = plan.figures.duration_s;
  problem.away = schedule.away;
  problem.notice_s = rules.attention.notice_s;
  problem.clear_s = rules.attention.clear_s;
  return finishing(problem, starts_of(schedule), schedule.done_by);
}

Attention attention(const job::Job& job, const plan::Plan& plan, const rules::Rules& rules,
                    const std::optional<Schedule>& schedule) {
  Attention out;
  double stops = 0, none = 1;
  double quiet_since_s = 0;
  const auto quiet_until = [&](double to_s) {
    if (to_s - quiet_since_s <= out.quiet_to_s - out.quiet_from_s) return;
    out.quiet_from_s = quiet_since_s;
    out.quiet_to_s = to_s;
  };
  for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
    const job::ToolChange& s = job.tool_changes[i];
    Attention::Change c;
    c.at_s = plan.change_at_s[i];
    c.exchanges = s.exchanges();
    const ChangeOdds odds = odds_of(job, s, rules);
    for (const double p : {odds.pick, odds.exchange}) {
      c.expected_stops += p;
      none *= 1 - p;
    }
    if (s.exchanges()) {
      ++out.exchanges;
      quiet_until(c.at_s);
      quiet_since_s = c.at_s + seconds_of(s);
    }
    stops += c.expected_stops;
    out.changes.push_back(c);
  }
  quiet_until(plan.figures.duration_s);
  add_uses(job, plan, out.changes);
  out.pauses = plan.pause_at_s;
  if (rules.gives_odds()) out.expected_stops = stops + double(out.pauses.size());
  // Whatever the odds of the rest are, a pause is one.
  if (!out.pauses.empty()) {
    out.chance_of_none = 0;
  } else if (rules.gives_odds()) {
    out.chance_of_none = none;
  }
  if (!schedule || schedule->away.empty()) return out;
  out.given = out.best = at_start(out, *schedule, schedule->start);
  for (const LocalTime start : starts_of(*schedule)) {
    const AtStart other = at_start(out, *schedule, start);
    if (other.exchanges_away < out.best->exchanges_away) out.best = other;
  }
  return out;
}

std::vector<HourCount> exchanges_by_hour(const Attention& a, LocalTime start) {
  std::vector<HourCount> out;
  for (const Attention::Change& c : a.changes) {
    if (!c.exchanges) continue;
    const LocalTime at = later(start, c.at_s);
    const std::string day = date(at);
    if (out.empty() || out.back().hour != hour(at) || out.back().date != day) {
      out.push_back({day, hour(at), 0});
    }
    ++out.back().exchanges;
  }
  return out;
}

const std::string_view kGiveOdds = "give fault_odds in [feeder] or [[toolhead]]";

std::string odds_text(std::optional<double> x) {
  if (!x) return "not known";
  return *x > 0 && *x < 0.0005 ? std::string("under 0.001") : number(*x, 3);
}

std::string chance_text(std::optional<double> x) {
  return x ? number(100 * *x, 1) + " %" : "not known";
}

std::string spaced_minute(LocalTime time) {
  std::string out = date_minute(time);
  if (const auto t = out.find('T'); t != std::string::npos) out[t] = ' ';
  return out;
}

std::string words_within(const Schedule& schedule) {
  return fmt::format("within {} h, in steps of 15 min", schedule.within_s / 3600);
}

std::vector<std::string> finish_words(const Summary& s) {
  const Finish& f = s.finish->given;
  const auto at = [&](double time_s) { return spaced_minute(later(s.schedule->start, time_s)); };
  std::vector<std::string> out;
  out.push_back(fmt::format("done by {} with a chance of 10 %, by {} with 50 %, by {} with 90 %",
                            at(f.p10_s), at(f.p50_s), at(f.p90_s)));
  out.push_back(fmt::format("done at {} on average, {} of it lost to stops; {} trials, seed {}",
                            at(f.mean_s), duration(f.lost_s), s.finish->trials, s.finish->seed));
  if (f.chance_done_by) {
    out.push_back(fmt::format("chance that it is done by {}: {}",
                              spaced_minute(*s.schedule->done_by), chance_text(f.chance_done_by)));
  }
  return out;
}

std::string away_words(const Schedule& schedule) {
  std::string out;
  for (const Away& away : schedule.away) out += (out.empty() ? "" : ", ") + hours(away);
  return out;
}

namespace {

// "2027-03-05: 18:00–19:00: 2, 19:00–20:00: 11"
std::string by_hour(const Attention& a, LocalTime start, std::size_t width) {
  // A count stays on the line of its hour.
  constexpr char kKept = '\x01';
  const HourTable hours = hour_table(a, start);
  std::string out;
  for (const Row& row : hours.table.rows) {
    std::string counts = std::get<std::string>(row.cells[1]);
    for (std::size_t at = 0; (at = counts.find(": ", at)) != std::string::npos;) {
      counts[++at] = kKept;
    }
    out += wrapped(std::get<std::string>(row.cells[0]) + ": " + counts, 4, width);
  }
  std::replace(out.begin(), out.end(), kKept, ' ');
  return hours.more ? out + "    and on later days; --csv has them all\n" : out;
}

// "2 of 5 exchanges, 0.350 expected stops"
std::string away_figures(const Attention& a, const AtStart& s) {
  return fmt::format("{} of {}, {}", s.exchanges_away,
                     counted(a.exchanges, "exchange", "exchanges"),
                     s.expected_stops_away ? odds_text(s.expected_stops_away) + " expected stops"
                                           : std::string("expected stops not known"));
}

std::string away_text(const Summary& s, const Attention& a) {
  const std::string within = words_within(*s.schedule);
  std::string out = wrapped(
      fmt::format("away {}: {}", away_words(*s.schedule), away_figures(a, *a.given)), 2, s.width);
  if (a.best->start == a.given->start) {
    return out + wrapped(fmt::format("no start {}, has fewer exchanges in those hours", within), 2,
                         s.width);
  }
  return out + wrapped(fmt::format("started at {}: {}; no start {}, has fewer exchanges in those "
                                   "hours, and no earlier one as few",
                                   spaced_minute(a.best->start), away_figures(a, *a.best), within),
                       2, s.width);
}

// When it will be done, with what may stop it.
std::string finish_text(const Summary& s) {
  if (!s.finish) return {};  // that odds are not known has been said
  std::string out;
  const auto say = [&](const std::string& words) { out += wrapped(words, 2, s.width); };
  for (const std::string& words : finish_words(s)) say(words);
  const auto say_start = [&](std::string_view what, const MeanFinish& m) {
    say(fmt::format("{}: started at {}, done at {} on average, {} of it lost to stops", what,
                    spaced_minute(m.start), spaced_minute(later(m.start, m.mean_s)),
                    duration(m.lost_s)));
  };
  say(fmt::format("of all starts {}:", words_within(*s.schedule)));
  say_start("least expected end", s.finish->earliest);
  say_start("least time lost", s.finish->shortest);
  return out;
}

}  // namespace

std::string attention_text(const Summary& s) {
  if (s.job.tool_changes.empty()) return {};
  const Attention a = attention(s.job, s.lookahead, s.rules, s.schedule);
  std::string out = "\nattention\n";
  const auto say = [&](const std::string& words) { out += wrapped(words, 2, s.width); };
  if (a.expected_stops) {
    say(fmt::format("expected stops {}, chance of none {}, by the rule file's fault_odds",
                    odds_text(a.expected_stops), chance_text(a.chance_of_none)));
  } else {
    say(fmt::format("expected stops{} not known: {}", a.chance_of_none ? "" : " and chance of none",
                    kGiveOdds));
  }
  if (!a.pauses.empty()) {
    say(fmt::format("the job asks for {}, which {} certain to stop it",
                    counted(a.pauses.size(), "pause", "pauses"),
                    a.pauses.size() == 1 ? "is" : "are"));
  }
  const std::string quiet = duration(a.quiet_to_s - a.quiet_from_s);
  if (!s.schedule) {
    say(fmt::format("longest without an exchange: {}, from {} to {}", quiet, clock(a.quiet_from_s),
                    clock(a.quiet_to_s)));
    return out;
  }
  const LocalTime start = s.schedule->start;
  const auto at = [&](double time_s) { return spaced_minute(later(start, time_s)); };
  say(fmt::format("from {} to {}, without time zones or daylight-saving time", at(0),
                  at(s.lookahead.figures.duration_s)));
  say(fmt::format("longest without an exchange: {}, from {} to {}", quiet, at(a.quiet_from_s),
                  at(a.quiet_to_s)));
  if (a.exchanges > 0) {
    out += "  exchanges, by the hour\n";
    out += by_hour(a, start, s.width);
  }
  if (a.given) out += away_text(s, a);
  return out + finish_text(s);
}

std::string changes_csv(const Summary& s) {
  const Attention a = attention(s.job, s.lookahead, s.rules, s.schedule);
  std::string out =
      std::string(kChangesBeginning) +
      "from_tool,to_tool,from_filament,to_filament,park_s,pick_s,exchange_s,expected_stops,"
      "layer,line,sequence_s,wait_s,from_c,to_c,treatment,change\n";
  const auto tool = [](int t) { return t < 0 ? std::string() : std::to_string(t); };
  const auto filament = [&](int t) {
    return t < 0 ? std::string() : csv_field(clean(s.rules.filament(t).name));
  };
  const auto degrees = [](std::optional<double> c) { return c ? csv_field(*c) : std::string(); };
  for (std::size_t i = 0; i < s.job.tool_changes.size(); ++i) {
    const job::ToolChange& c = s.job.tool_changes[i];
    const Attention::Change& change = a.changes[i];
    const std::string at = s.schedule ? date_time(later(s.schedule->start, change.at_s)) : "";
    out += fmt::format(
        "{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{}\n", csv_field(change.at_s), at,
        job::name_of(c.kind), c.head == job::kNone ? "" : csv_field(clean(head_name(s, c.head))),
        tool(c.from_tool), tool(c.tool), filament(c.from_tool), filament(c.tool),
        csv_field(c.park_s), csv_field(c.pick_s), csv_field(c.exchange_s),
        a.expected_stops ? fmt::format("{}", change.expected_stops) : std::string(), c.layer,
        c.line, csv_field(change.sequence_s), csv_field(change.wait_s), degrees(change.from_c),
        degrees(change.to_c), change.treatment ? plan::name_of(*change.treatment) : "", i + 1);
  }
  return out;
}

}  // namespace forewarm::report
