#include "report/assignment.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "report/forecast_tables.h"
#include "report/json_parts.h"
#include "report/lines.h"

namespace forewarm::report {

namespace {

using By = assign::Problem::By;

constexpr std::array<Figure<assign::Figures>, 4> kChangeFigures{
    {{&kToolheadChanges, &assign::Figures::toolhead_changes},
     {&kFilamentChanges, &assign::Figures::filament_changes},
     {&kExchanging, &assign::Figures::exchange_s},
     {&kChangeTime, &assign::Figures::change_s}}};

// The figure of purge, in the unit of the matrix.
Figure<assign::Figures> purge_of(const AssignmentSummary& s) {
  const bool grams = s.matrix != nullptr && s.matrix->unit == rules::Matrix::Unit::g;
  return {grams ? &kPurge : &kPurgeVolume, &assign::Figures::purge};
}

const std::string& head_of(const AssignmentSummary& s, int tool) {
  static const std::string none = "?";
  for (const assign::Toolhead& h : s.problem.heads) {
    if (std::find(h.tools.begin(), h.tools.end(), tool) != h.tools.end()) return h.name;
  }
  return none;
}

// Where the purge of an exchange is not known, a question by purge counts exchanges.
bool counts_exchanges(const AssignmentSummary& s) {
  return s.problem.by == By::purge && s.problem.pairs.empty() &&
         std::none_of(s.problem.heads.begin(), s.problem.heads.end(),
                      [](const assign::Toolhead& h) { return h.exchange_purge_mm3 > 0; });
}

// Filaments in the order of their new tools.
std::vector<std::size_t> by_new_tool(const assign::Assignment& a) {
  std::vector<std::size_t> order(a.map.size());
  for (std::size_t f = 0; f < order.size(); ++f) order[f] = f;
  std::sort(order.begin(), order.end(),
            [&](std::size_t x, std::size_t y) { return a.map[x] < a.map[y]; });
  return order;
}

// "0=3,3=0": those that move.
std::string map_of(const AssignmentSummary& s) {
  std::string out;
  for (std::size_t f = 0; f < s.assignment.map.size(); ++f) {
    const int from = s.problem.filaments[f].tool;
    const int to = s.assignment.map[f];
    if (from != to) out += fmt::format("{}{}={}", out.empty() ? "" : ",", from, to);
  }
  return out;
}

class Text : private Lines {
 public:
  explicit Text(const AssignmentSummary& s) : Lines(s.width), s_(s), a_(s.assignment) {}

  std::string run() {
    begin(s_.path, s_.rules);
    if (a_.map.empty()) {
      line("The job selects no tool: there is nothing to assign.");
      return std::move(out_);
    }
    add(cost_table());
    out_ += '\n';
    verdict();
    add(loading_table());
    return std::move(out_);
  }

 private:
  [[nodiscard]] Table cost_table() const {
    constexpr std::array<std::size_t, kChangeFigures.size()> kWidths{16, 16, 13, 13};
    const bool purge =
        a_.baseline.purge && a_.best.purge && *a_.baseline.purge + *a_.best.purge > 0;
    const Figure<assign::Figures> purge_figure = purge_of(s_);
    Table out{.columns = {{.head = "", .kind = Column::Kind::name, .width = 14}}};
    add_columns<assign::Figures>(out, kChangeFigures, kWidths);
    if (purge) out.columns.push_back({.head = std::string((*purge_figure).words), .width = 13});
    const auto add_row = [&](const char* name, const assign::Figures& figures) {
      Row row{.cells = {std::string(name)}};
      add_cells<assign::Figures>(row, kChangeFigures, figures);
      if (purge) row.cells.emplace_back(purge_figure.amount(figures));
      out.rows.push_back(std::move(row));
    };
    add_row("as it is", a_.baseline);
    add_row(a_.optimal ? "best" : "best found", a_.best);
    return out;
  }

  [[nodiscard]] std::string amount(double cost) const {
    if (s_.problem.by == By::time) return duration(cost);
    if (counts_exchanges(s_)) {
      return counted(std::uint64_t(std::llround(cost)), "exchange", "exchanges");
    }
    return text_of({cost, purge_of(s_).quantity->unit, 1});
  }

  void verdict() {
    if (!a_.baseline_allowed) {
      line("As it is, a filament is where the rules do not allow it.");
    }
    if (a_.optimal) {
      line("Proved: no assignment that the rules allow takes less than {}.", amount(a_.cost));
    } else {
      line("Not proved: this takes {}; no assignment takes less than {}.", amount(a_.cost),
           amount(a_.lower_bound));
    }
    if (s_.problem.by == By::time && a_.baseline.stops_s + a_.best.stops_s > 0) {
      line("Of that, stops take {} on average; as it is, {}.", duration(a_.best.stops_s),
           duration(a_.baseline.stops_s));
    }
    if (counts_exchanges(s_)) {
      line(
          "No toolhead has exchange_purge_mm3, and there is no matrix: all exchanges count the "
          "same.");
    }
    if (a_.moved == 0) {
      line("Every filament stays where it is.");
    } else {
      line("{} to move: {}", counted(a_.moved, "filament", "filaments"), map_of(s_));
    }
  }

  [[nodiscard]] Table loading_table() const {
    using Kind = Column::Kind;
    Table out{.columns = {{.head = "load", .kind = Kind::name, .width = 6},
                          {.head = "toolhead", .kind = Kind::text, .width = 16},
                          {.head = "material", .kind = Kind::text, .width = 16},
                          {.head = "filament", .kind = Kind::text, .width = 24},
                          {.head = "", .kind = Kind::text}}};
    for (const std::size_t f : by_new_tool(a_)) {
      const int from = s_.problem.filaments[f].tool;
      const int to = a_.map[f];
      const rules::Filament filament = s_.rules.filament(from);
      out.rows.push_back({.cells = {fmt::format("T{}", to), clean(head_of(s_, to), 40),
                                    clean(filament.material, 40), clean(filament.name, 80),
                                    from == to ? "stays" : fmt::format("from T{}", from)}});
    }
    return out;
  }

  const AssignmentSummary& s_;
  const assign::Assignment& a_;
};

Json figures_of(const AssignmentSummary& s, const assign::Figures& figures) {
  Json out = figures_json<assign::Figures>(kChangeFigures, figures);
  add_figures<assign::Figures>(out, std::array{purge_of(s)}, figures);
  if (s.rules.gives_filament_odds()) out["stops_s"] = rounded(figures.stops_s);
  return out;
}

}  // namespace

std::string assignment_text(const AssignmentSummary& summary) { return Text(summary).run(); }

std::string assignment_json(const AssignmentSummary& s) {
  const assign::Assignment& a = s.assignment;
  Json out = json_begun();
  out["rules"] = rules_json(s.rules);
  out["by"] = s.problem.by == By::time ? "time" : "purge";
  out["unit"] = s.problem.by == By::time ? "s"
                : counts_exchanges(s)    ? "exchanges"
                                         : unit_name(purge_of(s).quantity->unit);
  out["baseline"] = figures_of(s, a.baseline);
  out["baseline"]["allowed"] = a.baseline_allowed;
  Json map = Json::object();
  for (std::size_t f = 0; f < a.map.size(); ++f) {
    map[std::to_string(s.problem.filaments[f].tool)] = a.map[f];
  }
  out["best"]["map"] = std::move(map);
  out["best"].update(figures_of(s, a.best));
  out["best"]["moved"] = a.moved;
  out["best"]["optimal"] = a.optimal;
  out["best"]["cost"] = rounded(a.cost);
  out["best"]["lower_bound"] = rounded(a.lower_bound);
  out["filaments"] = Json::array();
  for (const std::size_t f : by_new_tool(a)) {
    const int from = s.problem.filaments[f].tool;
    const rules::Filament filament = s.rules.filament(from);
    out["filaments"].push_back({{"tool", a.map[f]},
                                {"toolhead", head_of(s, a.map[f])},
                                {"from", from},
                                {"name", filament.name},
                                {"material", filament.material}});
  }
  return written(out);
}

}  // namespace forewarm::report
