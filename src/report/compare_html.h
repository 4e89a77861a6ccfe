// What the pages of comparisons have in common: a chart of bars for each figure.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "report/chart_page.h"
#include "report/figures.h"

namespace forewarm::report {

struct FigureBar {
  std::string label = {};
  Amount amount = {};
  Bar::Fill fill = Bar::Fill::light;
  std::optional<double> bound = {};
};
// From 0 on, a bar for each.
void add_bars(ChartPage& page, const Quantity& quantity, std::span<const FigureBar> figures);

[[nodiscard]] Scale scale_of(Unit unit);
// Nothing where the bound is not of this quantity.
[[nodiscard]] std::optional<double> bound_of(const Quantity& quantity, const Bound& bound);

}  // namespace forewarm::report
