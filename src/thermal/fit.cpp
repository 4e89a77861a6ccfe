#include "thermal/fit.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <utility>

#include "base/statistics.h"
#include "thermal/response.h"

namespace forewarm::thermal {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double kHuber = 1.5;  // deviations beyond which a reading weighs less
constexpr int kReweighings = 30;
constexpr std::size_t kGridReadings = 600;

struct Constants {
  double time_constant_s = 1, dead_time_s = 0;
};

// What is linear in the model, and the model's derivatives, with each stretch's own start already
// projected out of every column.
struct Linearised {
  MatrixXd linear;              // one column for each of rise and ambient that is fitted
  VectorXd known;               // readings less what is known, projected likewise
  VectorXd coefficients;        // of linear
  VectorXd residuals;           // weighted
  MatrixXd nonlinear;           // d/d time constant, d/d dead time
  std::vector<double> start_c;  // of each stretch
  std::vector<double> rises_c;  // of each that is driven, where they are their own
  // Of their mean: its derivatives by what is shared and by the two constants, and its variance for
  // readings of variance 1.
  VectorXd mean_rise_by;
  double mean_rise_noise = 0;
  double weighted_rss = 0;
};

class Problem {
 public:
  Problem(const std::vector<Stretch>& stretches, const FitOptions& options)
      : stretches_(stretches), options_(options) {
    std::size_t driven = 0;
    for (const Stretch& s : stretches_) {
      rows_ += s.readings.size();
      free_starts_ += s.start == Stretch::Start::free ? 1U : 0U;
      is_driven_.push_back(std::any_of(s.readings.begin(), s.readings.end(),
                                       [](const Reading& r) { return r.drive > 0; }));
      driven += is_driven_.back() ? 1U : 0U;
      driven_ = driven_ || s.drive_before > 0 || is_driven_.back();
    }
    if (options_.own_rise && driven > 1) own_rises_ = driven;
    root_weights_ = VectorXd::Ones(Eigen::Index(rows_));
  }

  [[nodiscard]] bool driven() const { return driven_; }
  [[nodiscard]] bool fits_dead_time() const { return driven_ && options_.dead_time; }
  [[nodiscard]] std::size_t rows() const { return rows_; }
  // The columns that all stretches share: a rise for all, and ambient.
  [[nodiscard]] Eigen::Index shared() const {
    return Eigen::Index(one_rise()) + Eigen::Index(!options_.ambient_c);
  }
  [[nodiscard]] bool one_rise() const { return driven_ && own_rises_ == 0; }
  // 0: there is one for all.
  [[nodiscard]] std::size_t own_rises() const { return own_rises_; }
  [[nodiscard]] std::size_t free_starts() const { return free_starts_; }
  void set_root_weights(VectorXd w) { root_weights_ = std::move(w); }
  [[nodiscard]] const VectorXd& root_weights() const { return root_weights_; }

  // With `derivatives`, also the columns of the two constants.
  [[nodiscard]] Linearised at(const Constants& at, bool derivatives) const {
    const auto n = Eigen::Index(rows_);
    Linearised out;
    out.linear.resize(n, shared());
    out.known.resize(n);
    out.start_c.resize(stretches_.size());
    VectorXd start_column(n), rise_tau, rise_dead, decay_tau;
    Response response(at.time_constant_s, at.dead_time_s);
    if (derivatives) {
      rise_tau.resize(n);
      rise_dead.resize(n);
      decay_tau.resize(n);
    }
    VectorXd raw_known(n);
    MatrixXd raw_linear(n, shared());
    VectorXd rise_column(n);
    Eigen::Index row = 0;
    for (std::size_t i = 0; i < stretches_.size(); ++i) {
      const Stretch& s = stretches_[i];
      const bool at_rest = s.start == Stretch::Start::ambient;
      response.begin(s);
      for (const Reading& r : s.readings) {
        const Response::At& now = response.advance();
        Eigen::Index column = 0;
        if (one_rise()) raw_linear(row, column++) = now.rise;
        rise_column[row] = now.rise;
        const double of_ambient = at_rest ? 1 : 1 - now.decay;
        double known = r.temperature_c;
        if (options_.ambient_c) {
          known -= *options_.ambient_c * of_ambient;
        } else {
          raw_linear(row, column) = of_ambient;
        }
        if (own_rises_ > 0 && !is_driven_[i]) known -= options_.rise_c * now.rise;
        if (s.start == Stretch::Start::given) known -= s.start_c * now.decay;
        raw_known[row] = known;
        start_column[row] = now.decay;
        if (derivatives) {
          rise_tau[row] = now.rise_by_tau;
          rise_dead[row] = now.rise_by_dead;
          decay_tau[row] = now.decay_by_tau;
        }
        ++row;
      }
    }
    const auto weigh = [&](auto& m) { m.array().colwise() *= root_weights_.array(); };
    weigh(raw_linear);
    weigh(raw_known);
    weigh(start_column);
    out.linear = raw_linear;
    out.known = raw_known;
    const VectorXd raw_rise = rise_column;
    if (own_rises_ > 0) {
      weigh(rise_column);
      eliminate(start_column, nullptr, rise_column);
    }
    const VectorXd* const own = own_rises_ > 0 ? &rise_column : nullptr;
    eliminate(start_column, own, out.linear);
    eliminate(start_column, own, out.known);
    out.residuals = out.known;
    if (shared() > 0) {
      const Eigen::ColPivHouseholderQR<MatrixXd> qr(out.linear);
      out.coefficients = qr.solve(out.known);
      out.residuals.noalias() -= out.linear * out.coefficients;
    }
    out.weighted_rss = out.residuals.squaredNorm();
    if (!derivatives) return out;

    const double one_rise_c = one_rise() ? out.coefficients[0] : options_.rise_c;
    const double ambient_c =
        options_.ambient_c ? *options_.ambient_c : out.coefficients[shared() - 1];
    VectorXd left = raw_known;
    if (shared() > 0) left.noalias() -= raw_linear * out.coefficients;
    out.nonlinear.resize(n, fits_dead_time() ? 2 : 1);
    row = 0;
    for (std::size_t i = 0; i < stretches_.size(); ++i) {
      const Stretch& s = stretches_[i];
      const auto count = Eigen::Index(s.readings.size());
      const auto q = start_column.segment(row, count);
      double rise_c = one_rise_c;
      if (own_rises_ > 0 && is_driven_[i]) {
        const auto r = rise_column.segment(row, count);
        rise_c = r.dot(left.segment(row, count)) / r.squaredNorm();
        out.rises_c.push_back(rise_c);
        left.segment(row, count).array() -= rise_c * raw_rise.segment(row, count).array() *
                                            root_weights_.segment(row, count).array();
      }
      if (s.start == Stretch::Start::free) {
        out.start_c[i] = q.dot(left.segment(row, count)) / q.squaredNorm();
      } else {
        out.start_c[i] = s.start == Stretch::Start::given ? s.start_c : ambient_c;
      }
      for (Eigen::Index k = row; k < row + count; ++k) {
        out.nonlinear(k, 0) = rise_c * rise_tau[k] + (out.start_c[i] - ambient_c) * decay_tau[k];
        if (fits_dead_time()) out.nonlinear(k, 1) = rise_c * rise_dead[k];
      }
      row += count;
    }
    weigh(out.nonlinear);
    if (own_rises_ > 0) {
      out.mean_rise_by = VectorXd::Zero(out.linear.cols() + out.nonlinear.cols());
      for_each([&](std::size_t i, Eigen::Index first, Eigen::Index count) {
        if (!is_driven_[i]) return;
        const auto r = rise_column.segment(first, count);
        const double square = r.squaredNorm();
        out.mean_rise_noise += 1 / square;
        for (Eigen::Index c = 0; c < out.mean_rise_by.size(); ++c) {
          const bool shared = c < raw_linear.cols();
          const auto column = shared ? raw_linear.col(c) : out.nonlinear.col(c - raw_linear.cols());
          out.mean_rise_by[c] -= r.dot(column.segment(first, count)) / square;
        }
      });
      out.mean_rise_by /= double(own_rises_);
      out.mean_rise_noise /= double(own_rises_ * own_rises_);
    }
    eliminate(start_column, own, out.nonlinear);
    return out;
  }

 private:
  template <class Visit>
  void for_each(Visit visit) const {
    Eigen::Index first = 0;
    for (std::size_t i = 0; i < stretches_.size(); ++i) {
      const auto count = Eigen::Index(stretches_[i].readings.size());
      visit(i, first, count);
      first += count;
    }
  }

  // Takes each stretch's own columns out of `m`: its start, and its rise, which has no part of the
  // start left.
  template <class Matrix>
  void eliminate(const VectorXd& starts, const VectorXd* rises, Matrix& m) const {
    for_each([&](std::size_t i, Eigen::Index first, Eigen::Index count) {
      if (stretches_[i].start == Stretch::Start::free) {
        const auto q = starts.segment(first, count);
        project(q, q.squaredNorm(), m, first, count);
      }
      if (rises != nullptr && is_driven_[i]) {
        const auto r = rises->segment(first, count);
        project(r, r.squaredNorm(), m, first, count);
      }
    });
  }

  // Twice, as once leaves what rounding makes of columns that are nearly the same.
  template <class Column, class Matrix>
  static void project(const Column& q, double square, Matrix& m, Eigen::Index first,
                      Eigen::Index count) {
    for (int twice = 0; twice < 2; ++twice) {
      for (Eigen::Index c = 0; c < m.cols(); ++c) {
        auto part = m.col(c).segment(first, count);
        part -= q * (q.dot(part) / square);
      }
    }
  }

  const std::vector<Stretch>& stretches_;
  const FitOptions& options_;
  std::size_t rows_ = 0, free_starts_ = 0;
  bool driven_ = false;
  std::vector<bool> is_driven_;
  std::size_t own_rises_ = 0;
  VectorXd root_weights_;
};

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

double median_of(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + std::ptrdiff_t(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// The weights of Huber's function for these residuals (unweighted ones), as square roots.
VectorXd huber(const VectorXd& residuals) {
  std::vector<double> sizes(std::size_t(residuals.size()));
  for (Eigen::Index i = 0; i < residuals.size(); ++i)
    sizes[std::size_t(i)] = std::abs(residuals[i]);
  const double limit = kHuber * median_of(std::move(sizes)) / 0.6744897501960817;
  VectorXd out = VectorXd::Ones(residuals.size());
  if (limit <= 0) return out;
  for (Eigen::Index i = 0; i < residuals.size(); ++i) {
    const double size = std::abs(residuals[i]);
    if (size > limit) out[i] = std::sqrt(limit / size);
  }
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
  MatrixXd covariance =
      MatrixXd::Constant(j.cols(), j.cols(), std::numeric_limits<double>::quiet_NaN());
  // Columns of one length: those of one constant in seconds and of another in degrees differ much.
  const VectorXd lengths = j.colwise().norm();
  if (freedom > 0 && lengths.minCoeff() > 0) {
    for (Eigen::Index c = 0; c < j.cols(); ++c) j.col(c) /= lengths[c];
    const Eigen::HouseholderQR<MatrixXd> qr(j);
    const MatrixXd r = qr.matrixQR().topRows(j.cols()).triangularView<Eigen::Upper>();
    const MatrixXd inverse =
        r.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(j.cols(), j.cols()));
    covariance = inverse * inverse.transpose() * (here.weighted_rss / freedom);
    for (Eigen::Index a = 0; a < j.cols(); ++a) {
      for (Eigen::Index b = 0; b < j.cols(); ++b) covariance(a, b) /= lengths[a] * lengths[b];
    }
  }
  const auto sd = [&](Eigen::Index i) { return std::sqrt(covariance(i, i)); };
  const Eigen::Index tau_at = here.linear.cols();
  out.time_constant_s = {at.time_constant_s, sd(tau_at)};
  // The rise: a column of its own, or a mean that depends on all of them.
  const Eigen::Index shared = here.linear.cols();
  const std::size_t own = problem.own_rises();
  VectorXd rise_by = VectorXd::Zero(j.cols());
  double apart = 0;  // variance of a mean by noise and by how unlike they are
  if (out.driven && own == 0) {
    rise_by[0] = 1;
    out.rise_c.value = here.coefficients[0];
  } else if (out.driven) {
    rise_by = here.mean_rise_by.head(j.cols());
    const Moments m = moments(here.rises_c);
    out.rise_c.value = m.mean;
    out.rises_c = here.rises_c;
    apart = m.sd * m.sd / double(own) + here.mean_rise_noise * here.weighted_rss / freedom;
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
