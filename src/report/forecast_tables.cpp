#include "report/forecast_tables.h"

#include <fmt/format.h>

#include "plan/describe.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kNameWidth = 16;

Column name_column(std::string head) {
  return {.head = std::move(head), .kind = Column::Kind::name, .width = kNameWidth, .cut = true};
}

// One row, a column for each figure.
template <class Values>
Table across(const char* head, std::span<const Figure<Values>> figures, const Values& values) {
  Table out;
  out.columns.push_back(name_column(head));
  const std::vector<std::size_t> widths(figures.size(), 12);
  add_columns(out, figures, widths);
  Row row{.cells = {std::string(rules::name_of(rules::Policy::lookahead))}};
  add_cells(row, figures, values);
  out.rows.push_back(std::move(row));
  return out;
}

}  // namespace

Row bound_row(const Bound& bound) {
  Row row{.cells = {std::string("physical bound")}, .mark = Row::Mark::limit};
  for (const Figure<plan::Figures>& figure : kPlanFigures) {
    row.cells.emplace_back();
    for (const Figure<Bound>& known : kBoundFigures) {
      if (known.quantity == figure.quantity) row.cells.back() = known.amount(bound);
    }
  }
  return row;
}

Table policy_table(const Summary& summary) {
  constexpr std::array<std::size_t, kPlanFigures.size()> kWidths{12, 12, 12, 15, 11, 10};
  Table out{.title = "Policies side by side"};
  out.columns.push_back(name_column("policy"));
  add_columns<plan::Figures>(out, kPlanFigures, kWidths);
  for (const plan::Plan* plan : plans(summary)) {
    const bool in_force = plan->policy == summary.rules.gap.policy;
    Row row{.cells = {rules::name_of(plan->policy) + std::string(in_force ? " *" : "")}};
    if (in_force) row.mark = Row::Mark::in_force;
    add_cells<plan::Figures>(row, kPlanFigures, plan->figures);
    out.rows.push_back(std::move(row));
  }
  out.rows.push_back(bound_row(bound(summary.lookahead)));
  out.note = "* the rule file's policy. " + std::string(kBoundNote);
  return out;
}

Table power_table(const Summary& summary) {
  constexpr std::array<std::size_t, kPowerFigures.size()> kWidths{12, 14, 16, 12};
  Table out{.title = "Heating power"};
  const rules::Machine& machine = summary.rules.machine;
  if (!machine.heating_limit_w) return out;
  out.columns.push_back(name_column("heating power"));
  add_columns<plan::Figures>(out, kPowerFigures, kWidths);
  for (const plan::Plan* plan : plans(summary)) {
    Row row{.cells = {std::string(rules::name_of(plan->policy))}};
    if (plan->policy == summary.rules.gap.policy) row.mark = Row::Mark::in_force;
    add_cells<plan::Figures>(row, kPowerFigures, plan->figures);
    out.rows.push_back(std::move(row));
  }
  out.note = fmt::format(
      "Heaters at full drive together may draw {:g} W. What holding a temperature takes is not "
      "counted against it, so leave room for it. Only lookahead keeps the limit; what the job "
      "itself heats stays. Start code may draw more, and is no part of the time over the limit.",
      *machine.heating_limit_w - machine.bed_w);
  const std::string over = plan::describe_over_limit(summary.lookahead.figures);
  if (!over.empty()) out.note += " With lookahead, " + over + ".";
  // Why another waits less.
  for (const plan::Plan* plan : plans(summary)) {
    constexpr double kWorthAWordS = 1;
    const double less_s = summary.lookahead.figures.wait_s - plan->figures.wait_s;
    if (less_s <= kWorthAWordS) continue;
    out.note += fmt::format(" {} waits {} less, ", capitalised(rules::name_of(plan->policy)),
                            duration(less_s));
    out.note += plan->figures.over_limit_s + plan->figures.over_limit_own_s > 0
                    ? "and exceeds the limit."
                    : "and heeds no max_hot_idle_s.";
  }
  return out;
}

Table toolhead_table(const Summary& summary) {
  constexpr std::array<std::size_t, kHeadFigures.size()> kWidths{6, 6, 8, 6, 13, 15, 12};
  Table out{.title = "Toolheads"};
  out.columns.push_back(name_column("toolhead"));
  add_columns<plan::HeadFigures>(out, kHeadFigures, kWidths);
  for (std::size_t h = 0; h < summary.lookahead.heads.size(); ++h) {
    Row row{.cells = {head_name(summary, h)}};
    add_cells<plan::HeadFigures>(row, kHeadFigures, summary.lookahead.heads[h]);
    out.rows.push_back(std::move(row));
  }
  return out;
}

Table filament_table(const Summary& summary) {
  // Only JSON splits purge into exchanges and sequences.
  constexpr auto kShown = std::span(kGramFigures).first<2>();
  constexpr std::array<std::size_t, 2> kWidths{11, 11};
  Table out{.title = "Filaments"};
  out.columns.push_back(name_column("filament"));
  out.columns.push_back({.head = "tool", .kind = Column::Kind::text, .width = 6, .right = true});
  add_columns<Grams>(out, kShown, kWidths);
  out.columns.push_back({.head = std::string(kExchanges.words), .width = 10});
  const auto add = [&](Row row, const Grams& grams, std::uint64_t exchanges) {
    add_cells<Grams>(row, kShown, grams);
    row.cells.emplace_back(Amount{double(exchanges), kExchanges.unit});
    out.rows.push_back(std::move(row));
  };
  Grams sum;
  std::uint64_t exchanges = 0;
  for (const job::Material& m : summary.job.materials) {
    const rules::Filament filament = summary.rules.filament(m.tool);
    const Grams g = grams(m, filament, stepped_mm(summary.lookahead, m.tool));
    sum.part_g += g.part_g;
    sum.purge_g += g.purge_g;
    exchanges += m.exchanges;
    add({.cells = {filament.name, fmt::format("T{}", m.tool)}}, g, m.exchanges);
  }
  if (out.rows.empty()) return out;
  add({.cells = {std::string("together"), {}}, .mark = Row::Mark::limit}, sum, exchanges);
  return out;
}

Table cause_table(const Summary& summary) {
  const Causes causes = time_by_cause(summary.job, summary.lookahead);
  const double all_s = summary.lookahead.figures.duration_s;
  Table out{.title = "Time by cause"};
  out.columns = {{.head = "cause", .kind = Column::Kind::name},
                 {.head = std::string(kDuration.words)},
                 {.head = "share"}};
  const auto add = [&](const std::string& cause, double seconds, Row::Mark mark) {
    Row row{.cells = {cause, Amount{seconds, Unit::seconds}}, .mark = mark};
    if (all_s > 0) row.cells.emplace_back(Amount{100 * seconds / all_s, Unit::percent, 1});
    out.rows.push_back(std::move(row));
  };
  for (const Figure<Causes>& cause : shown_causes(causes)) {
    if (cause.quantity != &kWait) {
      add(capitalised((*cause).in_full()), cause.value(causes), Row::Mark::none);
      continue;
    }
    for (const Figure<plan::WaitCauses>& wait : kWaitCauses) {
      add(fmt::format("{}: {}", capitalised(kWait.words), (*wait).words),
          wait.value(summary.lookahead.figures.waits), Row::Mark::none);
    }
  }
  add("together", all_s, Row::Mark::limit);
  return out;
}

Table causes_across(const Summary& summary) {
  const Causes causes = time_by_cause(summary.job, summary.lookahead);
  return across<Causes>("time by cause", shown_causes(causes), causes);
}

Table waits_across(const Summary& summary) {
  return across<plan::WaitCauses>("waiting for", kWaitCauses, summary.lookahead.figures.waits);
}

Table gap_table(const Summary& summary, std::span<const plan::GapPlan* const> gaps) {
  using Kind = Column::Kind;
  using Shown = Column::Shown;
  const auto words = [](const Figure<plan::GapPlan>& figure) {
    return std::string((*figure).words);
  };
  Table out{.title = "Gaps"};
  out.columns = {
      {.head = "worst gaps",
       .kind = Kind::text,
       .width = kNameWidth,
       .cut = true,
       .page_head = "Toolhead"},
      {.head = "gap", .width = 4},
      {.head = words(kGapFrom), .width = 8},
      {.head = words(kGapTo), .width = 8},
      {.head = "treatment", .kind = Kind::text, .width = 9},
      {.head = words(kGapDip), .width = 5, .bare = true},
      {.head = words(kGapPreheatAt), .shown = Shown::on_page},
      {.head = words(kGapWait), .width = 11, .bare = true},
      {.head = words(kGapHotIdle), .width = 11, .bare = true},
      {.head = "reason", .kind = Kind::text, .shown = Shown::on_page},
  };
  for (const plan::GapPlan* gap : gaps) {
    const bool late = gap->wait_s >= kSomeWaitS;
    Row row{.mark = late ? Row::Mark::late : Row::Mark::none, .below = gap->reason};
    row.cells.emplace_back(head_name(summary, gap->head));
    row.cells.emplace_back(Amount{double(number_of(summary.lookahead, *gap)), Unit::count});
    add_cells<plan::GapPlan>(row, std::array{kGapFrom, kGapTo}, *gap);
    row.cells.emplace_back(plan::name_of(gap->treatment));
    add_cells<plan::GapPlan>(row, std::array{kGapDip, kGapPreheatAt}, *gap);
    // The page shows seconds with as many decimals as matter.
    row.cells.emplace_back(Amount{gap->wait_s, Unit::seconds, late ? 1 : 0});
    row.cells.emplace_back(Amount{gap->hot_idle_s, Unit::seconds, 0});
    row.cells.emplace_back(gap->reason);
    out.rows.push_back(std::move(row));
  }
  return out;
}

Table change_table(const Summary& summary, std::span<const std::size_t> which, bool exchanges) {
  using Kind = Column::Kind;
  Table out{.title = exchanges ? "Exchanges" : "Changes"};
  out.columns = {{.head = "at"},
                 {.head = "layer"},
                 {.head = "line"},
                 {.head = "kind", .kind = Kind::text},
                 {.head = "toolhead", .kind = Kind::text},
                 {.head = "from", .kind = Kind::text},
                 {.head = "to", .kind = Kind::text},
                 {.head = "exchange", .bare = true},
                 {.head = "wait", .bare = true}};
  const auto tool = [&](int t) {
    if (t < 0) return std::string();
    return tool_name(t, summary.rules.filament(t).name);
  };
  const Attention a = attention(summary.job, summary.lookahead, summary.rules, summary.schedule);
  for (const std::size_t i : which) {
    const job::ToolChange& c = summary.job.tool_changes[i];
    const double wait_s = a.changes[i].wait_s;
    const bool late = wait_s >= kSomeWaitS;
    const double at_s = a.changes[i].at_s;
    Row row{.mark = late ? Row::Mark::late : Row::Mark::none};
    row.cells = {
        summary.schedule ? spaced_minute(later(summary.schedule->start, at_s)) : clock(at_s),
        Amount{double(c.layer), Unit::count},
        Amount{double(c.line), Unit::count},
        std::string(job::name_of(c.kind)),
        c.head == job::kNone ? std::string() : head_name(summary, c.head),
        tool(c.exchanges() ? c.out_tool : c.from_tool),
        tool(c.tool),
        Amount{c.exchange_s, Unit::seconds, 0},
        Amount{wait_s, Unit::seconds, late ? 1 : 0}};
    out.rows.push_back(std::move(row));
  }
  return out;
}

HourTable hour_table(const Attention& attention, LocalTime start) {
  HourTable out;
  out.table.columns = {{.head = "day", .kind = Column::Kind::name},
                       {.head = "exchanges, by the hour", .kind = Column::Kind::text}};
  std::vector<Row>& rows = out.table.rows;
  std::string day;
  for (const HourCount& h : exchanges_by_hour(attention, start)) {
    const bool same_day = h.date == day;
    if (!same_day) {
      out.more = rows.size() == kDaysShown;
      if (out.more) break;
      day = h.date;
      rows.push_back({.cells = {day, std::string()}});
    }
    std::get<std::string>(rows.back().cells[1]) += fmt::format(
        "{}{:02}:00–{:02}:00: {}", same_day ? ", " : "", h.hour, h.hour + 1, h.exchanges);
  }
  return out;
}

Table finish_table(const Summary& s) {
  Table out{.title = "When it will be done, with stops"};
  out.columns = {{.head = "start", .kind = Column::Kind::name},
                 {.head = "started", .kind = Column::Kind::name},
                 {.head = "done on average", .kind = Column::Kind::name},
                 {.head = "lost to stops"}};
  const auto add = [&](const char* what, const MeanFinish& m) {
    out.rows.push_back({.cells = {std::string(what), spaced_minute(m.start),
                                  spaced_minute(later(m.start, m.mean_s)), duration(m.lost_s)}});
  };
  add("as given", s.finish->starts.front());
  add("least expected end", s.finish->earliest);
  add("least time lost", s.finish->shortest);
  out.note = fmt::format("Of all starts {}, by {} trials, seed {}.", words_within(*s.schedule),
                         s.finish->trials, s.finish->seed);
  return out;
}

Table away_table(const Attention& attention, const Schedule& schedule) {
  Table out{.title = "Away " + away_words(schedule)};
  out.columns = {{.head = "started", .kind = Column::Kind::name},
                 {.head = "exchanges then"},
                 {.head = "expected stops then"}};
  const auto add = [&](const AtStart& s) {
    out.rows.push_back({.cells = {spaced_minute(s.start),
                                  fmt::format("{} of {}", s.exchanges_away, attention.exchanges),
                                  odds_text(s.expected_stops_away)}});
  };
  add(*attention.given);
  if (attention.best->start != attention.given->start) add(*attention.best);
  out.note = fmt::format("No start {}, has fewer exchanges in those hours than {}.",
                         words_within(schedule),
                         out.rows.size() > 1 ? "the second, and no earlier one as few" : "this");
  return out;
}

}  // namespace forewarm::report
