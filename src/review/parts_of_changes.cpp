// Least squares of what changes took beyond the rules, weighted by the spreads that the rules say,
// with the least change where it does not tell (the pseudo-inverse).
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "review/review.h"

namespace forewarm::review {

namespace {

constexpr double kLeastSpreadS = 0.1;
constexpr double kNothing = 1e-9;

struct Row {
  std::size_t from = job::kNone, pick = job::kNone, exchange = job::kNone;
  double beyond_s = 0, weight = 1;
};

}  // namespace

PartsOfChanges parts_of_changes(const Schedule& schedule, const rules::Rules& rules,
                                const Review& review) {
  const std::size_t heads = rules.toolheads.size();
  PartsOfChanges out;
  for (const rules::Toolhead& h : rules.toolheads) {
    out.park.push_back({{h.park_s, {}}, 0});
    out.pick.push_back({{h.pick_s, {}}, 0});
    out.exchange.push_back({{h.exchange_s, {}}, 0});
  }
  const double park = std::max(rules.gap.park_spread_s, kLeastSpreadS);
  const double exchange = std::max(rules.gap.exchange_spread_s, kLeastSpreadS);
  std::vector<Row> rows;
  for (const ChangeSeen& seen : review.changes) {
    const PlannedChange& c = schedule.changes[seen.change];
    if (!seen.counts || !seen.took_s || c.takes_s() <= 0 || c.head >= heads) continue;
    // One that takes what its filament says tells nothing of the toolhead's exchange_s.
    if (c.exchanges() && rules.filament(c.tool).exchange_s) continue;
    Row row;
    double variance = 0;
    if (c.park_s > 0 && c.from_head < heads) {
      row.from = c.from_head;
      variance += park * park;
    }
    if (c.pick_s > 0) {
      row.pick = c.head;
      variance += park * park;
    }
    if (c.exchange_s > 0) {
      row.exchange = c.head;
      variance += exchange * exchange;
    }
    if (variance == 0) continue;
    row.beyond_s = *seen.took_s - seen.stop_s - c.takes_s();
    row.weight = 1 / std::sqrt(variance);
    rows.push_back(row);
  }
  const auto columns = Eigen::Index(3 * heads);
  if (rows.empty()) return out;
  // The normal equations: few unknowns, of one size.
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(columns, columns);
  Eigen::VectorXd right = Eigen::VectorXd::Zero(columns);
  const auto each_column = [&](const Row& row, auto visit) {
    if (row.from != job::kNone) visit(Eigen::Index(row.from));
    if (row.pick != job::kNone) visit(Eigen::Index(heads + row.pick));
    if (row.exchange != job::kNone) visit(Eigen::Index(2 * heads + row.exchange));
  };
  for (const Row& row : rows) {
    const double w = row.weight * row.weight;
    each_column(row, [&](Eigen::Index i) {
      right[i] += w * row.beyond_s;
      each_column(row, [&](Eigen::Index j) { normal(i, j) += w; });
    });
  }
  // What rounding leaves of a direction that no change tells is not taken for one that they do.
  Eigen::CompleteOrthogonalDecomposition<Eigen::MatrixXd> solver;
  solver.setThreshold(kNothing);
  solver.compute(normal);
  const Eigen::VectorXd beyond = solver.solve(right);
  const Eigen::MatrixXd inverse = solver.pseudoInverse();
  double rss = 0;
  std::vector<double> parking, exchanging;
  for (const Row& row : rows) {
    double off = row.beyond_s;
    each_column(row, [&](Eigen::Index i) { off -= beyond[i]; });
    rss += off * off * row.weight * row.weight;
    if (row.exchange == job::kNone) {
      const bool both = row.from != job::kNone && row.pick != job::kNone;
      parking.push_back(both ? off / std::sqrt(2.0) : off);
    } else if (row.pick == job::kNone) {
      exchanging.push_back(off);
    }
  }
  const double freedom = double(rows.size()) - double(solver.rank());
  const double s2 = freedom > 0 ? rss / freedom : std::numeric_limits<double>::quiet_NaN();
  const auto fill = [&](std::vector<PartsOfChanges::Part>& parts, std::size_t first) {
    for (std::size_t h = 0; h < heads; ++h) {
      const auto i = Eigen::Index(first + h);
      parts[h].seconds.value = std::max(0.0, parts[h].seconds.value + beyond[i]);
      parts[h].seconds.sd = std::sqrt(std::max(0.0, inverse(i, i)) * s2);
    }
  };
  fill(out.park, 0);
  fill(out.pick, heads);
  fill(out.exchange, 2 * heads);
  for (const Row& row : rows) {
    if (row.from != job::kNone) ++out.park[row.from].count;
    if (row.pick != job::kNone) ++out.pick[row.pick].count;
    if (row.exchange != job::kNone) ++out.exchange[row.exchange].count;
  }
  const auto spread = [&](const std::vector<double>& off) -> std::optional<PartsOfChanges::Part> {
    if (off.size() < 2) return std::nullopt;
    const double sd = moments(off).sd;
    return PartsOfChanges::Part{{sd, sd / std::sqrt(2 * double(off.size() - 1))}, off.size()};
  };
  out.park_spread_s = spread(parking);
  out.exchange_spread_s = spread(exchanging);
  return out;
}

}  // namespace forewarm::review
