// The comparison as a page.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "report/chart_page.h"
#include "report/compare_fields.h"
#include "report/compare_html.h"
#include "report/compare_parts.h"

namespace forewarm::report {

namespace {

using rules::Policy;

// The unit that the name of a key ends in, as a label has it.
std::string unit_of_key(std::string_view key) {
  if (key.ends_with("_s")) return "s";
  if (key.ends_with("_c")) return "°C";
  if (key.ends_with("_per_h")) return "1/h";
  if (key.ends_with("_per_kwh")) return "1/kWh";
  return {};
}

class Page {
 public:
  explicit Page(const Comparison& comparison)
      : c_(comparison),
        parts_(comparison),
        page_(c_.path,
              {fmt::format("on {}: {}; {} moving", clean(c_.rules.machine.name),
                           counted(c_.job.layers, "layer", "layers"), duration(c_.job.motion_s)),
               "Rules: " + rules_words(c_.rules)}) {}

  std::string run() {
    policies();
    for (const std::string_view key : parts_.swept_keys()) sweep(key);
    return page_.done();
  }

 private:
  void policies() {
    const auto rows = parts_.rows_of({});
    page_.section("Policies side by side");
    page_.words(
        "A bar for each policy, from 0 on. The full bars are of the rule file's policy, the broken "
        "ones of the job as sliced; a broken line through a bar is the physical bound.");
    page_.charts_begin();
    for (const Figure<plan::Figures>& figure : kPlanFigures) {
      std::vector<FigureBar> bars;
      for (const CompareRow* row : rows) {
        const bool own = row->policy == c_.rules.gap.policy && parts_.as_rules(*row);
        bars.push_back({parts_.label(*row), figure.amount(row->figures),
                        row->policy == Policy::as_sliced ? Bar::Fill::outline
                        : own                            ? Bar::Fill::solid
                                                         : Bar::Fill::light,
                        bound_of(*figure, c_.bound)});
      }
      add_bars(page_, *figure, bars);
    }
    page_.charts_end();
    page_.table(parts_.figures_table(rows));
    page_.heading("Against as-sliced");
    page_.table(parts_.difference_table(rows));
    const Answer answer = parts_.timer_answer();
    page_.heading("In words");
    if (!answer.list_head.empty()) page_.words(capitalised(answer.list_head) + ":");
    std::vector<std::string> items;
    for (const auto& [name, words] : answer.list) items.push_back(name + ": " + words);
    page_.list(items);
    for (const std::string& words : answer.sentences) page_.words(words);
  }

  void sweep(std::string_view key) {
    const auto rows = parts_.rows_of(key);
    const CompareRow& own = parts_.own(rows.front()->policy);
    const auto in_force = value_in_force(key);
    page_.section(fmt::format("{}, by {}", capitalised(rules::name_of(own.policy)), key));
    page_.words(parts_.sweep_answer(rows));
    std::string words = "A dot for each value that was tried. ";
    if (in_force) {
      words += fmt::format("In force is {}, the rule file's; its figures are the diamonds.",
                           fmt::format("{}", *in_force));
    } else {
      words += fmt::format("In force is no number: {} is \"best\", which has no place on the axis.",
                           key);
    }
    page_.words(words);
    page_.charts_begin();
    for (const Figure<plan::Figures>& figure : kPlanFigures) curve(key, figure, rows, in_force);
    page_.charts_end();
    page_.table(parts_.figures_table(rows));
    page_.folded("Against as-sliced", parts_.difference_table(rows));
  }

  [[nodiscard]] std::optional<double> value_in_force(std::string_view key) const {
    const auto* number = rules::sections::gap.find(key)->number();
    if (number->word_flag != nullptr && c_.rules.gap.*number->word_flag) return std::nullopt;
    return number->get(c_.rules.gap);
  }

  void curve(std::string_view key, const Figure<plan::Figures>& figure,
             const std::vector<const CompareRow*>& rows, std::optional<double> in_force) {
    const Quantity& quantity = *figure;
    Chart chart{.heading = {.title = capitalised(quantity.in_full()),
                            .what = fmt::format("{} by {} from {} to {}", quantity.in_full(), key,
                                                rows.front()->value, rows.back()->value)}};
    std::vector<Point> tried;
    double x_least = rows.front()->value, x_most = rows.back()->value;
    double y_least = HUGE_VAL, y_most = -HUGE_VAL;
    const auto take = [&](double y) {
      if (!std::isfinite(y)) return;
      y_least = std::min(y_least, y);
      y_most = std::max(y_most, y);
    };
    for (const CompareRow* row : rows) {
      tried.push_back({row->value, figure.value(row->figures)});
      take(tried.back().y);
    }
    chart.series.push_back({.look = Series::Look::line, .tone = 0, .points = tried});
    chart.series.push_back({.name = "tried", .look = Series::Look::dots, .points = tried});
    if (in_force && std::isfinite(*in_force)) {
      const double value = figure.value(parts_.own(rows.front()->policy).figures);
      x_least = std::min(x_least, *in_force);
      x_most = std::max(x_most, *in_force);
      take(value);
      chart.series.push_back({.name = "rule file",
                              .look = Series::Look::diamonds,
                              .tone = 1,
                              .points = {{*in_force, value}}});
      chart.moments.push_back({*in_force, fmt::format("in force: {}", *in_force)});
      chart.heading.what += fmt::format("; in force is {}", *in_force);
    }
    if (const auto bound = bound_of(quantity, c_.bound)) {
      const std::string words =
          "bound: " + text_of({.value = *bound, .unit = quantity.unit, .decimals = 1});
      take(*bound);
      chart.levels.push_back({*bound, words});
      chart.heading.what += "; physical " + words;
    }
    if (!(y_least <= y_most)) y_least = y_most = 0;
    // The lower half of a chart stays empty only where that shows how little it is.
    if (y_least > 0 && y_least < y_most / 2) y_least = 0;
    chart.x = axis_over(std::string(key), x_least, x_most, Scale::plain, unit_of_key(key), 5);
    chart.y = axis_over(std::string(quantity.in_full()), y_least, y_most, scale_of(quantity.unit),
                        std::string(unit_name(quantity.unit)), 6);
    page_.chart(chart);
  }

  const Comparison& c_;
  CompareParts parts_;
  ChartPage page_;
};

}  // namespace

Scale scale_of(Unit unit) {
  if (unit == Unit::seconds || unit == Unit::clock) return Scale::duration;
  return unit == Unit::count ? Scale::count : Scale::plain;
}

std::optional<double> bound_of(const Quantity& quantity, const Bound& bound) {
  for (const Figure<Bound>& known : kBoundFigures) {
    if (known.quantity == &quantity) return known.value(bound);
  }
  return std::nullopt;
}

void add_bars(ChartPage& page, const Quantity& quantity, std::span<const FigureBar> figures) {
  constexpr const char* kOwnBounds = "bound of each";
  std::vector<Bar> bars;
  double most = 0;
  std::string bound_words;
  Heading heading{.title = capitalised(quantity.in_full())};
  for (const FigureBar& f : figures) {
    const std::string text = text_of(f.amount);
    bars.push_back({f.label, text, f.amount.value, f.fill, f.bound});
    if (std::isfinite(f.amount.value)) most = std::max({most, f.amount.value, f.bound.value_or(0)});
    heading.what += (heading.what.empty() ? "" : "; ") + clean(f.label) + ": " + text;
    if (!f.bound) continue;
    const std::string words = "bound " + text_of({*f.bound, quantity.unit, quantity.decimals});
    heading.what += ", " + words;
    const bool same = bound_words.empty() || bound_words == words;
    bound_words = same ? words : kOwnBounds;
  }
  page.bars(heading,
            axis_over(std::string(quantity.in_full()), 0, most, scale_of(quantity.unit),
                      std::string(unit_name(quantity.unit)), 5),
            bars, bound_words);
}

std::string html(const Comparison& comparison) { return Page(comparison).run(); }

}  // namespace forewarm::report
