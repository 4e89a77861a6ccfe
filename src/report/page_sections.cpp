#include "report/page_sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>

#include "report/figures.h"
#include "report/forecast_tables.h"
#include "report/spools.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kLongestName = 80;

Column bar_column(std::string head) {
  return {.head = std::move(head), .kind = Column::Kind::bar, .shown = Column::Shown::on_page};
}

std::string section_of(const std::string& title, const std::string& content) {
  return fmt::format("<section class=\"bars\">\n<h2>{}</h2>\n{}</section>\n", escaped(title),
                     content);
}

// Tables side by side where there is room, each under its title.
std::string cards(const std::vector<Table>& tables) {
  std::string out = "<div class=\"cards\">\n";
  for (const Table& table : tables) {
    out += fmt::format("<div>\n<h3>{}</h3>\n{}</div>\n", escaped(table.title), html_of(table));
  }
  return out + "</div>\n";
}

CellBar one_part(double share) { return {.parts = {{0, share}}}; }

}  // namespace

std::vector<Table> policy_bars(const Summary& s) {
  std::vector<Table> out;
  const Bound least = bound(s.lookahead);
  for (const Figure<plan::Figures>& figure : kPlanFigures) {
    std::optional<Amount> limit;
    for (const Figure<Bound>& known : kBoundFigures) {
      if (known.quantity == figure.quantity) limit = known.amount(least);
    }
    double most = limit ? limit->value : 0;
    for (const plan::Plan* plan : plans(s)) most = std::max(most, figure.value(plan->figures));
    const auto share = [most](double value) { return most > 0 ? value / most : 0; };

    Table table{.title = capitalised((*figure).in_full())};
    table.columns = {{.head = "policy", .kind = Column::Kind::name},
                     bar_column("bar"),
                     {.head = std::string((*figure).words)}};
    for (const plan::Plan* plan : plans(s)) {
      const bool in_force = plan->policy == s.rules.gap.policy;
      CellBar bar = one_part(share(figure.value(plan->figures)));
      if (limit) bar.line = share(limit->value);
      table.rows.push_back(
          {.cells = {rules::name_of(plan->policy) + std::string(in_force ? " *" : ""),
                     std::move(bar), figure.amount(plan->figures)},
           .mark = in_force ? Row::Mark::in_force : Row::Mark::none});
    }
    if (limit) {
      table.rows.push_back(
          {.cells = {std::string("physical bound"), CellBar{.line = share(limit->value)}, *limit},
           .mark = Row::Mark::limit});
    }
    out.push_back(std::move(table));
  }
  return out;
}

std::string policy_section(const Summary& s) {
  return section_of(policy_table(s).title,
                    cards(policy_bars(s)) +
                        "<p class=\"note\">* the rule file&#39;s policy. The "
                        "upright line is the physical bound. " +
                        escaped(kBoundNote) + "</p>\n");
}

Table time_bars(const Summary& s) {
  Table out = cause_table(s);
  const double all_s = s.lookahead.figures.duration_s;
  const auto seconds = [](const Row& row) { return std::get<Amount>(row.cells[1]).value; };
  CellBar together;
  double from_s = 0;
  for (Row& row : out.rows) {
    CellBar bar;
    if (row.mark == Row::Mark::limit) {
      bar = together;
    } else if (all_s > 0) {
      // Neighbours that take any time differ in look.
      const CellBar::Part part{from_s / all_s, seconds(row) / all_s, together.parts.size() % 2};
      from_s += seconds(row);
      bar.parts.push_back({part.from, part.share});
      if (part.share > 0) together.parts.push_back(part);
    }
    row.cells.insert(row.cells.begin() + 1, std::move(bar));
  }
  out.columns.insert(out.columns.begin() + 1, bar_column("bar"));
  return out;
}

std::string time_section(const Summary& s) {
  const Table table = time_bars(s);
  return section_of(table.title, "<p>With lookahead. The causes add up to the whole time.</p>\n" +
                                     html_of(table));
}

namespace {

// What goes to waste by the job's own commands: purge that is neither an exchange's by the rules
// nor a sequence's.
struct Waste {
  double part_g = 0, own_purge_g = 0, exchange_purge_g = 0, sequence_purge_g = 0, priming_g = 0;
};
Waste waste(const Load& l) {
  return {l.part_g, l.purge_g - l.exchange_purge_g - l.sequence_purge_g, l.exchange_purge_g,
          l.sequence_purge_g, l.priming_g};
}
constexpr Quantity kOwnPurge{
    .key = "own_purge_g", .words = "purge by the job", .unit = Unit::grams};
constexpr std::array<Figure<Waste>, CellBar::kLooks> kWaste{
    {{&kPart, &Waste::part_g},
     {&kOwnPurge, &Waste::own_purge_g},
     {&kExchangePurge, &Waste::exchange_purge_g},
     {&kSequencePurge, &Waste::sequence_purge_g},
     {&kPriming, &Waste::priming_g}}};

double all_g(const Waste& w) {
  double sum = 0;
  for (const Figure<Waste>& figure : kWaste) sum += figure.value(w);
  return sum;
}

}  // namespace

Table filament_bars(const Summary& s) {
  Table out{.title = "Where filament goes"};
  out.columns = {{.head = "filament", .kind = Column::Kind::name}, bar_column("bar")};
  for (const Figure<Waste>& figure : kWaste) {
    out.columns.push_back({.head = std::string((*figure).words)});
  }
  out.columns.push_back({.head = "together"});
  out.columns.push_back({.head = std::string(kExchanges.words)});
  std::map<int, std::uint64_t> exchanges;
  for (const job::Material& m : s.job.materials) exchanges[m.tool] = m.exchanges;

  const std::vector<Load> all = loads(s);
  // Of what is drawn: what is pulled back in all has no bar.
  const auto drawn = [](const Waste& w, const Figure<Waste>& figure) {
    return std::max(figure.value(w), 0.0);
  };
  double longest = 0;
  for (const Load& l : all) {
    double length = 0;
    for (const Figure<Waste>& figure : kWaste) length += drawn(waste(l), figure);
    longest = std::max(longest, length);
  }
  Waste sum;
  std::uint64_t changes = 0;
  const auto add = [&](std::string name, std::optional<CellBar> bar, const Waste& w,
                       std::uint64_t count) -> Row& {
    Row& row = out.rows.emplace_back(Row{.cells = {std::move(name)}});
    row.cells.emplace_back(bar ? Cell(std::move(*bar)) : Cell());
    add_cells<Waste>(row, kWaste, w);
    row.cells.emplace_back(Amount{all_g(w), Unit::grams, kPart.decimals});
    row.cells.emplace_back(Amount{double(count), kExchanges.unit});
    return row;
  };
  for (const Load& l : all) {
    const Waste w = waste(l);
    CellBar bar;
    double from = 0;
    for (std::size_t i = 0; i < kWaste.size(); ++i) {
      const double share = longest > 0 ? drawn(w, kWaste.at(i)) / longest : 0;
      bar.parts.push_back({from, share, i});
      from += share;
      kWaste.at(i).set(sum, kWaste.at(i).value(sum) + kWaste.at(i).value(w));
    }
    changes += exchanges[l.tool];
    add(fmt::format("T{} {}", l.tool, clean(l.filament, kLongestName)), std::move(bar), w,
        exchanges[l.tool]);
  }
  if (out.rows.empty()) return out;
  add("together", std::nullopt, sum, changes).mark = Row::Mark::limit;
  out.note =
      "Purge by the job is what it extrudes between lines, or in the area, that the rule file says "
      "is purge; where it says neither, that is part of the part, as are towers for purging, "
      "skirts and supports. Purge by exchanges is what the rule file says that each takes. Priming "
      "is what step sequences feed besides, with what makes up for oozing, less what they pull "
      "back: it may be less than nothing, and has no part in the bar then. What oozes, and what a "
      "feeder pulls back, is not counted.";
  return out;
}

std::string filament_section(const Summary& s) {
  const Table table = filament_bars(s);
  if (table.rows.empty()) return {};
  std::string legend = "<ul class=\"legend\">\n";
  for (std::size_t i = 0; i < kWaste.size(); ++i) {
    legend += fmt::format("<li>{}{}</li>\n", html_of(CellBar{.parts = {{0, 1, i}}}),
                          (*kWaste.at(i)).in_full());
  }
  return section_of(table.title, legend + "</ul>\n" + html_of(table));
}

Table kind_bars(const Summary& s) {
  Table out{.title = "Changes by kind"};
  out.columns = {{.head = "kind", .kind = Column::Kind::name},
                 bar_column("bar"),
                 {.head = "changes"},
                 {.head = std::string(kDuration.words)}};
  using Kind = job::ChangeKind;
  constexpr std::array kKinds{Kind::toolhead,  Kind::filament, Kind::both,
                              Kind::redundant, Kind::first,    Kind::park};
  struct Sum {
    std::uint64_t count = 0;
    double seconds = 0;
  };
  std::map<Kind, Sum> sums;
  Sum all;
  for (const job::ToolChange& c : s.job.tool_changes) {
    for (Sum* sum : {&sums[c.kind], &all}) {
      ++sum->count;
      sum->seconds += c.park_s + c.pick_s + c.exchange_s;
    }
  }
  std::uint64_t most = 0;
  for (const auto& [kind, sum] : sums) most = std::max(most, sum.count);
  const auto add = [&](std::string name, Cell bar, const Sum& sum, Row::Mark mark) {
    out.rows.push_back(
        {.cells = {std::move(name), std::move(bar), Amount{double(sum.count), Unit::count},
                   Amount{sum.seconds, Unit::seconds}},
         .mark = mark});
  };
  for (const Kind kind : kKinds) {
    const Sum& sum = sums[kind];
    const bool always = kind <= Kind::redundant;
    if (sum.count == 0 && !always) continue;
    add(job::name_of(kind), one_part(most > 0 ? double(sum.count) / double(most) : 0), sum,
        Row::Mark::none);
  }
  add("together", {}, all, Row::Mark::limit);
  out.note =
      "Toolhead: one is parked, another one picked. Filament: a feeder exchanges it in the "
      "toolhead that is mounted. Both: one of the two after the other. Redundant: the tool is "
      "there already. Time is for parking, picking and exchanging, without waits and step "
      "sequences.";
  return out;
}

std::string kind_section(const Summary& s) {
  if (s.job.tool_changes.empty()) return {};
  const Table table = kind_bars(s);
  return section_of(table.title, html_of(table));
}

namespace {

constexpr int kShades = 4;

// Whether any minute of it is in hours away.
bool hour_is_away(const Schedule& schedule, LocalTime hour_begin) {
  for (std::int64_t s = 0; s < 3600; s += 60) {
    if (away_at(schedule, {hour_begin.s + s})) return true;
  }
  return false;
}

}  // namespace

std::string hour_calendar(const Summary& s, const Attention& attention) {
  if (!s.schedule || attention.exchanges == 0) return {};
  const Schedule& schedule = *s.schedule;
  std::map<std::pair<std::string, int>, std::uint64_t> counts;
  std::uint64_t most = 0;
  for (const HourCount& h : exchanges_by_hour(attention, schedule.start)) {
    counts[{h.date, h.hour}] = h.exchanges;
    most = std::max(most, h.exchanges);
  }
  const LocalTime end = later(schedule.start, s.lookahead.figures.duration_s);
  const std::int64_t first_day = schedule.start.s / kDayS, last_day = end.s / kDayS;
  const std::int64_t shown = std::min<std::int64_t>(last_day - first_day + 1, kDaysShown);

  std::string out = "<h3>Exchanges by the hour</h3>\n<div class=\"days\">\n";
  for (std::int64_t day = first_day; day < first_day + shown; ++day) {
    const std::string name = date({day * kDayS});
    out += fmt::format("<h4>{}</h4>\n<ol>\n", name);
    for (int hour = 0; hour < 24; ++hour) {
      const LocalTime at{day * kDayS + hour * 3600};
      const auto found = counts.find({name, hour});
      const std::uint64_t count = found == counts.end() ? 0 : found->second;
      const bool runs = at.s + 3600 > schedule.start.s && at.s < end.s;
      const bool away = hour_is_away(schedule, at);
      std::string classes = fmt::format("shade-{}", (count * kShades + most - 1) / most);
      if (!runs) classes += " idle";
      if (away) classes += " away";
      out += fmt::format("<li class=\"{}\"><span>{:02}</span> {}{}</li>\n", classes, hour,
                         runs ? fmt::format("<b>{}</b>", count) : std::string("–"),
                         away ? "<i>away</i>" : "");
    }
    out += "</ol>\n";
  }
  out +=
      "</div>\n<p class=\"note\">The small number is the hour, the large one how many exchanges "
      "begin in it; – where the job does not run.";
  if (!schedule.away.empty()) {
    out += " Hours with a double line below are, at least in part, hours away.";
  }
  if (last_day - first_day + 1 > shown) out += " And on later days.";
  return out + "</p>\n";
}

}  // namespace forewarm::report
