#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/compare_fields.h"

namespace forewarm::report {

namespace {

// A difference smaller than this is rounding.
double least_difference(Unit unit) { return unit == Unit::count ? 0.5 : kSomeWaitS; }

}  // namespace

double more_of(const Figure<plan::Figures>& figure, const plan::Figures& a,
               const plan::Figures& b) {
  const double more = figure.value(a) - figure.value(b);
  return std::abs(more) < least_difference((*figure).unit) ? 0 : more;
}

bool as_long(const plan::Figures& a, const plan::Figures& b) {
  return more_of(kCompared[0], a, b) == 0;
}

bool alike(const plan::Figures& a, const plan::Figures& b) {
  return std::all_of(kCompared.begin(), kCompared.end(),
                     [&](const auto& figure) { return more_of(figure, a, b) == 0; });
}

std::string difference(const plan::Figures& a, const plan::Figures& b) {
  if (alike(a, b)) return "the same";
  std::string out = as_long(a, b) ? "as long" : "";
  for (const Figure<plan::Figures>& figure : kCompared) {
    const double more = more_of(figure, a, b);
    if (more == 0) continue;
    const Quantity& quantity = *figure;
    const Amount amount{std::abs(more), quantity.unit, quantity.decimals};
    out += fmt::format("{}{} {}", out.empty() ? "" : ", ",
                       quantity.one.empty()
                           ? text_of(amount)
                           : counted(std::uint64_t(amount.value), quantity.one, quantity.words),
                       more < 0 ? quantity.less : quantity.more);
  }
  return out;
}

bool better(const plan::Figures& a, const plan::Figures& b) {
  if (!as_long(a, b)) return a.duration_s < b.duration_s;
  return more_of(kCompared[2], a, b) < 0;
}

}  // namespace forewarm::report
