#include "thermal/fit.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <utility>

#include "base/statistics.h"
#include "thermal/fit_problem.h"

namespace forewarm::thermal {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double kHuber = 1.5;  // deviations beyond which a reading weighs less
constexpr int kReweighings = 30;
constexpr std::size_t kGridReadings = 600;  // enough to find where the search is to begin

// Each n-th reading, and the last, of what is longer than `most` in all: for the grid.
std::vector<Stretch> thinned(const std::vector<Stretch>& stretches, std::size_t most) {
  std::size_t all = 0;
  for (const Stretch& s : stretches) all += s.readings.size();
  if (all <= most) return stretches;
  std::vector<Stretch> out = stretches;
  const std::size_t each = (all + most - 1) / most;
  for (Stretch& s : out) {
    std::vector<Reading> kept;
    for (std::size_t i = 0; i < s.readings.size(); ++i) {
      const bool turns = i > 0 && s.readings[i].drive != s.readings[i - 1].drive;
      if (i % each == 0 || i + 1 == s.readings.size() || (turns && kept.size() < 2 * most)) {
        kept.push_back(s.readings[i]);
      }
    }
    s.readings = std::move(kept);
  }
  return out;
}

struct Spans {
  double longest_s = 0, shortest_step_s = 1e300;
};

Spans spans_of(const std::vector<Stretch>& stretches) {
  Spans out;
  for (const Stretch& s : stretches) {
    const auto& r = s.readings;
    if (r.size() < 2) continue;
    const double span_s = r.back().time_s - r.front().time_s;
    out.longest_s = std::max(out.longest_s, span_s);
    if (span_s > 0) out.shortest_step_s = std::min(out.shortest_step_s, span_s / double(r.size()));
  }
  return out;
}

struct Bounds {
  double tau_low, tau_high, dead_high;
  [[nodiscard]] Constants clamped(Constants c) const {
    return {std::clamp(c.time_constant_s, tau_low, tau_high),
            std::clamp(c.dead_time_s, 0.0, dead_high)};
  }
};

class Search {
 public:
  Search(const Problem& problem, const Bounds& bounds) : problem_(problem), bounds_(bounds) {}

  [[nodiscard]] double rss(const Constants& c) const { return problem_.at(c, false).weighted_rss; }

  // Damped Gauss-Newton in ln(time constant) and dead time. `only_tau`: the latter stays.
  Constants refined(Constants from, bool only_tau, int rounds) const {
    double damping = 1e-3;
    Linearised here = problem_.at(from, true);
    for (int round = 0; round < rounds; ++round) {
      MatrixXd j = here.nonlinear;
      j.col(0) *= from.time_constant_s;
      if (only_tau && j.cols() > 1) j.conservativeResize(Eigen::NoChange, 1);
      remove_linear(here, j);
      const MatrixXd square = j.transpose() * j;
      const VectorXd slope = j.transpose() * here.residuals;
      bool better = false;
      double moved = 0;
      for (int tries = 0; tries < 12 && !better; ++tries) {
        MatrixXd damped = square;
        damped.diagonal() *= 1 + damping;
        // A column that says nothing must not be divided by.
        damped.diagonal().array() += 1e-300;
        const VectorXd step = damped.ldlt().solve(slope);
        if (!step.allFinite()) break;
        Constants to = from;
        to.time_constant_s *= std::exp(std::clamp(step[0], -1.0, 1.0));
        if (j.cols() > 1) to.dead_time_s += step[1];
        to = bounds_.clamped(to);
        moved = std::abs(std::log(to.time_constant_s / from.time_constant_s)) +
                std::abs(to.dead_time_s - from.dead_time_s);
        Linearised there = problem_.at(to, true);
        if (there.weighted_rss <= here.weighted_rss) {
          better = moved > 0;
          here = std::move(there);
          from = to;
          damping = std::max(damping / 10, 1e-12);
          break;
        }
        damping *= 10;
      }
      if (!better || moved < 1e-13) break;
    }
    return from;
  }

  // The sum of squares has a kink wherever the dead time carries a reading across a change of
  // drive, where derivatives mislead: steps that halve do not ask them.
  Constants polished(Constants at, double step_s) const {
    double best = rss(at);
    for (int rounds = 0; step_s > 1e-5 && rounds < 200; ++rounds) {
      bool better = false;
      for (const double sign : {1.0, -1.0}) {
        Constants to = at;
        to.dead_time_s += sign * step_s;
        to = refined(bounds_.clamped(to), true, 4);
        const double there = rss(to);
        if (there < best) {
          best = there;
          at = to;
          better = true;
          break;
        }
      }
      if (!better) step_s /= 2;
    }
    return at;
  }

  static void remove_linear(const Linearised& at, MatrixXd& j) {
    if (at.linear.cols() == 0) return;
    const Eigen::HouseholderQR<MatrixXd> qr(at.linear);
    j.noalias() -= at.linear * qr.solve(j);
  }

 private:
  const Problem& problem_;
  const Bounds& bounds_;
};

// The best of a grid, with the second and third where they lie elsewhere.
std::vector<Constants> starts(const Problem& problem, const Bounds& bounds, double shortest_s) {
  constexpr int kTaus = 28, kDeads = 16;
  const Search search(problem, bounds);
  std::vector<std::pair<double, Constants>> tried;
  const int deads = problem.fits_dead_time() ? kDeads : 1;
  const double first_s = std::min(std::max(shortest_s, bounds.dead_high * 1e-3), bounds.dead_high);
  for (int i = 0; i < kTaus; ++i) {
    const double share = double(i) / (kTaus - 1);
    const double tau = bounds.tau_low * std::pow(bounds.tau_high / bounds.tau_low, share);
    for (int k = 0; k < deads; ++k) {
      const double dead =
          k == 0 ? 0 : first_s * std::pow(bounds.dead_high / first_s, double(k - 1) / (kDeads - 2));
      const Constants c{tau, dead};
      const double rss = search.rss(c);
      if (std::isfinite(rss)) tried.emplace_back(rss, c);
    }
  }
  std::stable_sort(tried.begin(), tried.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  std::vector<Constants> out;
  for (const auto& [rss, c] : tried) {
    const bool apart = std::all_of(out.begin(), out.end(), [&c = c](const Constants& other) {
      return std::abs(std::log(c.time_constant_s / other.time_constant_s)) > 0.7 ||
             std::abs(c.dead_time_s - other.dead_time_s) > 0.3 * (c.dead_time_s + 1);
    });
    if (apart) out.push_back(c);
    if (out.size() == 3) break;
  }
  return out;
}

Constants least(const Problem& problem, const Bounds& bounds, const std::vector<Constants>& from) {
  const Search search(problem, bounds);
  Constants best;
  double least_rss = std::numeric_limits<double>::infinity();
  for (const Constants& c : from) {
    const Constants found = search.refined(c, false, 60);
    const double rss = search.rss(found);
    if (rss < least_rss) {
      least_rss = rss;
      best = found;
    }
  }
  return best;
}

// The weights of Huber's function for these residuals (unweighted ones), as square roots.
VectorXd huber(const VectorXd& residuals) {
  std::vector<double> sizes(std::size_t(residuals.size()));
  for (Eigen::Index i = 0; i < residuals.size(); ++i)
    sizes[std::size_t(i)] = std::abs(residuals[i]);
  const double limit = kHuber * sd_by_median(std::move(sizes));
  VectorXd out = VectorXd::Ones(residuals.size());
  if (limit <= 0) return out;
  for (Eigen::Index i = 0; i < residuals.size(); ++i) {
    const double size = std::abs(residuals[i]);
    if (size > limit) out[i] = std::sqrt(limit / size);
  }
  return out;
}

// (J'J)^-1 times the variance of a reading; not finite where a column is nothing. The columns are
// brought to one length: those of a constant in seconds and of one in degrees differ much.
MatrixXd covariance_of(MatrixXd j, double variance) {
  const Eigen::Index n = j.cols();
  const VectorXd lengths = j.colwise().norm();
  if (!(lengths.minCoeff() > 0)) {
    return MatrixXd::Constant(n, n, std::numeric_limits<double>::quiet_NaN());
  }
  j.array().rowwise() /= lengths.transpose().array();
  const Eigen::HouseholderQR<MatrixXd> qr(j);
  const MatrixXd r = qr.matrixQR().topRows(n).triangularView<Eigen::Upper>();
  const MatrixXd inverse = r.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(n, n));
  MatrixXd out = inverse * inverse.transpose() * variance;
  out.array() /= (lengths * lengths.transpose()).array();
  return out;
}

Fit told(const Problem& problem, const Constants& at, const std::vector<Stretch>& stretches,
         const FitOptions& options) {
  Linearised here = problem.at(at, true);
  Fit out;
  out.driven = problem.driven();
  out.readings = problem.rows();
  out.start_c = here.start_c;
  // At a bound nothing is told of it, nor where no reading depends on it (a dead time shorter than
  // the time between readings); all else is then as if it were known.
  const bool dead_told =
      problem.fits_dead_time() && at.dead_time_s > 0 && here.nonlinear.col(1).norm() > 0;
  MatrixXd j(here.linear.rows(), here.linear.cols() + (dead_told ? 2 : 1));
  j.leftCols(here.linear.cols()) = here.linear;
  j.rightCols(dead_told ? 2 : 1) = here.nonlinear.leftCols(dead_told ? 2 : 1);
  out.parameters = std::size_t(j.cols()) + problem.free_starts() + problem.own_rises();

  const double freedom = double(out.readings) - double(out.parameters);
  const double variance =
      freedom > 0 ? here.weighted_rss / freedom : std::numeric_limits<double>::quiet_NaN();
  const MatrixXd covariance = covariance_of(std::move(j), variance);
  const auto sd = [&](Eigen::Index i) { return std::sqrt(covariance(i, i)); };
  const Eigen::Index tau_at = here.linear.cols();
  out.time_constant_s = {at.time_constant_s, sd(tau_at)};
  // The rise: a column of its own, or a mean that depends on all of them.
  const Eigen::Index shared = here.linear.cols();
  const std::size_t own = problem.own_rises();
  VectorXd rise_by = VectorXd::Zero(covariance.cols());
  double apart = 0;  // variance of a mean by how unlike they are, and by noise
  if (out.driven && own == 0) {
    rise_by[0] = 1;
    out.rise_c.value = here.coefficients[0];
  } else if (out.driven) {
    rise_by = here.mean_rise_by.head(covariance.cols());
    const Moments m = moments(here.rises_c);
    out.rise_c.value = m.mean;
    out.rises_c = here.rises_c;
    // Noise is in the first already, but two that are alike by chance must not pass for certain.
    apart = m.sd * m.sd / double(own) + here.mean_rise_noise * variance;
  }
  if (out.driven) {
    out.rise_c.sd = std::sqrt(rise_by.dot(covariance * rise_by) + apart);
    out.dead_time_s.value = at.dead_time_s;
    if (dead_told) out.dead_time_s.sd = sd(tau_at + 1);
  }
  if (options.ambient_c) {
    out.ambient_c = {*options.ambient_c, 0};
    out.full_drive_c = {out.rise_c.value + out.ambient_c.value, out.rise_c.sd};
  } else {
    out.ambient_c = {here.coefficients[shared - 1], sd(shared - 1)};
    if (out.driven) {
      VectorXd both = rise_by;
      both[shared - 1] += 1;
      out.full_drive_c = {out.rise_c.value + out.ambient_c.value,
                          std::sqrt(both.dot(covariance * both) + apart)};
    }
  }
  Eigen::Index row = 0;
  for (const Stretch& s : stretches) {
    std::vector<double>& residuals = out.residuals.emplace_back();
    for (std::size_t i = 0; i < s.readings.size(); ++i, ++row) {
      residuals.push_back(here.residuals[row] / problem.root_weights()[row]);
      out.rss += residuals.back() * residuals.back();
    }
  }
  out.rms_c = out.readings > 0 ? std::sqrt(out.rss / double(out.readings)) : 0;
  return out;
}

}  // namespace

Result<Fit> fit(const std::vector<Stretch>& stretches, const FitOptions& options) {
  const Problem coarse_size(stretches, options);
  const std::size_t parameters = std::size_t(coarse_size.shared()) + coarse_size.free_starts() +
                                 coarse_size.own_rises() + (coarse_size.fits_dead_time() ? 2U : 1U);
  const Spans spans = spans_of(stretches);
  if (coarse_size.rows() <= parameters || spans.longest_s <= 0) {
    return Error{Error::Kind::refused, "there are fewer readings than constants to be found"};
  }
  const Bounds bounds{spans.longest_s * 1e-3, spans.longest_s * 1e3, spans.longest_s / 2};

  std::vector<Constants> from;
  {
    const std::vector<Stretch> few = thinned(stretches, kGridReadings);
    const Problem coarse(few, options);
    from = starts(coarse, bounds, spans.shortest_step_s);
  }
  if (from.empty()) {
    return Error{Error::Kind::refused, "no time constant makes sense of the readings"};
  }
  Problem problem(stretches, options);
  const Search search(problem, bounds);
  const auto best_from = [&](const std::vector<Constants>& some) {
    const Constants at = least(problem, bounds, some);
    return problem.fits_dead_time() ? search.polished(at, spans.shortest_step_s) : at;
  };
  Constants at = best_from(from);
  for (int round = 0; options.robust && round < kReweighings; ++round) {
    VectorXd residuals = problem.at(at, false).residuals;
    residuals.array() /= problem.root_weights().array();
    problem.set_root_weights(huber(residuals));
    const Constants before = at;
    at = best_from({at});
    const double moved = std::abs(std::log(at.time_constant_s / before.time_constant_s)) +
                         std::abs(at.dead_time_s - before.dead_time_s) / spans.longest_s;
    if (moved < 1e-6) break;
  }
  return told(problem, at, stretches, options);
}

}  // namespace forewarm::thermal
