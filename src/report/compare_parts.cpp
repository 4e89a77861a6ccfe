#include "report/compare_parts.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <vector>

#include "report/compare_fields.h"
#include "report/forecast_tables.h"

namespace forewarm::report {

namespace {

using rules::Policy;

// "15 min" where it is whole minutes; else as a duration.
std::string minutes(double seconds) {
  const double whole = std::round(seconds / 60);
  if (whole < 1 || whole > 999 || seconds != whole * 60) return duration(seconds);
  return fmt::format("{:.0f} min", whole);
}

// In what the best of several rows is best; `same_length`: none of them makes the job shorter.
std::string merit(const CompareRow& best, bool same_length) {
  if (same_length) {
    return "takes the least hot-end energy, " + number(best.figures.energy_wh, 1) +
           " Wh, and none is shorter";
  }
  return "makes the job shortest, " + duration(best.figures.duration_s);
}

double off_s(const CompareRow* row) { return row->gap.timer_off_s; }

struct Verdict {
  const CompareRow* best = nullptr;
  bool all_alike = true, same_length = true;  // as the figures that they are compared with
};

Verdict judge(std::span<const CompareRow* const> rows, const plan::Figures& with) {
  Verdict out{.best = rows.front()};
  for (const CompareRow* row : rows) {
    if (better(row->figures, out.best->figures)) out.best = row;
    out.all_alike = out.all_alike && alike(row->figures, with);
    out.same_length = out.same_length && as_long(row->figures, with);
  }
  return out;
}

Column label_column(std::string head) {
  return {.head = std::move(head), .kind = Column::Kind::name, .width = 28};
}

}  // namespace

std::vector<const CompareRow*> CompareParts::all() const {
  std::vector<const CompareRow*> out;
  for (const CompareRow& row : c_.rows) out.push_back(&row);
  return out;
}

std::vector<const CompareRow*> CompareParts::rows_of(std::string_view swept) const {
  std::vector<const CompareRow*> out;
  for (const CompareRow& row : c_.rows) {
    if (row.swept == swept) out.push_back(&row);
  }
  return out;
}

std::vector<std::string_view> CompareParts::swept_keys() const {
  std::vector<std::string_view> out;
  for (const CompareRow& row : c_.rows) {
    if (!row.swept.empty() && (out.empty() || out.back() != row.swept)) out.push_back(row.swept);
  }
  return out;
}

bool CompareParts::as_rules(const CompareRow& row) const {
  if (row.swept.empty()) {
    return row.policy != Policy::timers || row.gap.timer_off_s == c_.rules.gap.timer_off_s;
  }
  rules::GapSettings set = c_.rules.gap;
  rules::sections::gap.find(row.swept)->number()->set(set, row.value);
  return set == c_.rules.gap;
}

std::string CompareParts::label(const CompareRow& row) const {
  std::string out;
  if (!row.swept.empty()) {
    out = fmt::format("  {}", row.value);
  } else {
    out = rules::name_of(row.policy);
    if (row.policy == Policy::timers) out += ", off " + minutes(row.gap.timer_off_s);
  }
  if (as_rules(row)) {
    if (!row.swept.empty() || row.policy == Policy::timers) out += " +";
    if (row.swept.empty() && row.policy == c_.rules.gap.policy) out += " *";
  }
  return out;
}

template <class Cells>
void CompareParts::add_rows(Table& table, std::span<const CompareRow* const> rows, bool heading,
                            Cells add_cells_of) const {
  std::string_view block;
  for (const CompareRow* row : rows) {
    if (row->swept != block && heading) {
      block = row->swept;
      table.rows.push_back(
          {.cells = {fmt::format("{}, by {}", rules::name_of(row->policy), block)}});
    }
    Row shown{.cells = {label(*row)}};
    if (row->swept.empty() && row->policy == c_.rules.gap.policy && as_rules(*row)) {
      shown.mark = Row::Mark::in_force;
    }
    if (add_cells_of(shown, row->figures)) table.rows.push_back(std::move(shown));
  }
}

Table CompareParts::figures_table(std::span<const CompareRow* const> rows, bool heading) const {
  constexpr std::array<std::size_t, kPlanFigures.size()> kWidths{11, 11, 11, 15, 11, 10};
  Table out{.columns = {label_column("policy")}};
  add_columns<plan::Figures>(out, kPlanFigures, kWidths);
  add_rows(out, rows, heading, [](Row& row, const plan::Figures& figures) {
    add_cells<plan::Figures>(row, kPlanFigures, figures);
    return true;
  });
  out.rows.push_back(bound_row(c_.bound));
  out.note = "* the rule file's policy, + its value. " + std::string(kBoundNote);
  return out;
}

Table CompareParts::difference_table(std::span<const CompareRow* const> rows, bool heading) const {
  constexpr std::array<std::size_t, kCompared.size()> kWidths{13, 13, 15, 12};
  Table out{.columns = {label_column("against as-sliced")}};
  add_columns<plan::Figures>(out, kCompared, kWidths);
  const plan::Figures& base = c_.rows.front().figures;
  add_rows(out, rows, heading, [&base](Row& row, const plan::Figures& figures) {
    if (&figures == &base) return false;
    for (const Figure<plan::Figures>& figure : kCompared) {
      Amount more = figure.amount(figures);
      more.value -= figure.value(base);
      row.cells.emplace_back(signed_text_of(more));
    }
    return true;
  });
  return out;
}

Table CompareParts::figures_table() const { return figures_table(all(), true); }
Table CompareParts::difference_table() const { return difference_table(all(), true); }
Table CompareParts::figures_table(std::span<const CompareRow* const> rows) const {
  return figures_table(rows, false);
}
Table CompareParts::difference_table(std::span<const CompareRow* const> rows) const {
  return difference_table(rows, false);
}

const CompareRow& CompareParts::own(Policy policy) const {
  return *std::find_if(c_.rows.begin(), c_.rows.end(), [&](const CompareRow& row) {
    return row.policy == policy && row.swept.empty() && as_rules(row);
  });
}

// The rows of timers, by off time. Off times that a sweep tries count as well, each once.
std::vector<const CompareRow*> CompareParts::timers_tried() const {
  std::vector<const CompareRow*> tried;
  for (const CompareRow& row : c_.rows) {
    if (row.policy == Policy::timers && (row.swept.empty() || row.swept == "timer_off_s")) {
      tried.push_back(&row);
    }
  }
  std::stable_sort(tried.begin(), tried.end(),
                   [](const auto* a, const auto* b) { return off_s(a) < off_s(b); });
  const auto end = std::unique(tried.begin(), tried.end(),
                               [](const auto* a, const auto* b) { return off_s(a) == off_s(b); });
  tried.erase(end, tried.end());
  return tried;
}

Answer CompareParts::timer_answer() const {
  const std::vector<const CompareRow*> tried = timers_tried();
  const CompareRow& file = own(Policy::timers);
  const Verdict verdict = judge(tried, file.figures);
  const std::string instead = "instead of the rule file's " + minutes(off_s(&file));
  const plan::Figures& lookahead = own(Policy::lookahead).figures;
  if (verdict.all_alike) {
    return {.sentences = {fmt::format("Off timers from {} to {} come to the same for this job. "
                                      "lookahead, instead of any of them: {}.",
                                      minutes(off_s(tried.front())), minutes(off_s(tried.back())),
                                      difference(lookahead, file.figures))}};
  }
  Answer out{.list_head = "off timer, " + instead};
  for (const CompareRow* row : tried) {
    if (off_s(row) == off_s(&file)) continue;
    out.list.emplace_back(minutes(off_s(row)), difference(row->figures, file.figures));
  }
  const CompareRow& best = *verdict.best;
  const std::string best_off = minutes(off_s(&best));
  const bool own_best = off_s(&best) == off_s(&file);
  std::string words =
      fmt::format("Of the off timers tried, {}{} {}", own_best ? "the rule file's " : "", best_off,
                  merit(best, verdict.same_length));
  if (!own_best) words += "; " + instead + ": " + difference(best.figures, file.figures);
  out.sentences.push_back(words + '.');
  words = fmt::format("lookahead takes {}; {}: {}", duration(lookahead.duration_s), instead,
                      difference(lookahead, file.figures));
  if (!own_best) words += "; instead of " + best_off + ": " + difference(lookahead, best.figures);
  out.sentences.push_back(words + '.');
  return out;
}

// Why the rule file makes a key have no effect, if it does.
std::string CompareParts::why_idle(std::string_view key) const {
  const rules::GapSettings& gap = c_.rules.gap;
  if (!gap.off_over_best &&
      (key == "hot_idle_cost_per_h" || key == "energy_cost_per_kwh" || key == "restart_cost")) {
    return " It has an effect only where off_over_s is \"best\".";
  }
  if (gap.plain_lead() && (key == "on_time" || key == "time_error" || key == "heater_error" ||
                           key == "exchange_spread_s" || key == "park_spread_s")) {
    return " It has an effect only without lead_stretch and lead_extra_s.";
  }
  return "";
}

std::string CompareParts::sweep_answer(std::span<const CompareRow* const> rows) const {
  const CompareRow& file = own(rows.front()->policy);
  const auto [best, all_alike, same_length] = judge(rows, rows.front()->figures);
  std::string words(rows.front()->swept);
  if (rows.size() == 1) {
    words += fmt::format(" {}", best->value);
  } else if (all_alike) {
    words += fmt::format(": all values from {} to {} come to the same", rows.front()->value,
                         rows.back()->value);
  } else {
    words += fmt::format(": of the {} values tried, {} {}", rows.size(), best->value,
                         merit(*best, same_length));
  }
  words += fmt::format("; instead of the rule file's {}: {}.", rules::name_of(file.policy),
                       difference(best->figures, file.figures));
  if (all_alike) words += why_idle(rows.front()->swept);
  return words;
}

}  // namespace forewarm::report
