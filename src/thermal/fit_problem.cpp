#include "thermal/fit_problem.h"

#include <algorithm>

#include "thermal/response.h"

namespace forewarm::thermal {

using Eigen::MatrixXd;
using Eigen::VectorXd;

namespace {

// Twice, as once leaves what rounding makes of columns that are nearly the same.
template <class Matrix>
void project(const VectorXd& column, Matrix& m, Eigen::Index first, Eigen::Index count) {
  const auto q = column.segment(first, count);
  const double square = q.squaredNorm();
  for (int twice = 0; twice < 2; ++twice) {
    for (Eigen::Index c = 0; c < m.cols(); ++c) {
      auto part = m.col(c).segment(first, count);
      part -= q * (q.dot(part) / square);
    }
  }
}

}  // namespace

// The model at each reading, for given constants, each row times the square root of its weight.
struct Problem::Columns {
  VectorXd rise, decay;  // what full drive adds for each degree of rise; what is left of the start
  VectorXd own_rise;     // the first without its part of the second; empty where there is one rise
  MatrixXd linear;       // one column for each of rise and ambient that is fitted for all
  VectorXd known;        // readings less what is known
  VectorXd rise_by_tau, rise_by_dead, decay_by_tau;  // derivatives, without weights
};

template <class Matrix>
void Problem::weigh(Matrix& m) const {
  m.array().colwise() *= root_weights_.array();
}

template <class Visit>
void Problem::for_each(Visit visit) const {
  Eigen::Index first = 0;
  for (std::size_t i = 0; i < stretches_.size(); ++i) {
    const auto count = Eigen::Index(stretches_[i].readings.size());
    visit(i, first, count);
    first += count;
  }
}

// Takes each stretch's own columns out of `m`: its start, and its rise, which has no part of the
// start left. There may be dozens of them, each 0 outside its stretch: a projection of its rows
// is all that they take, where a column each would make the solving slow.
template <class Matrix>
void Problem::eliminate(const Columns& c, Matrix& m) const {
  for_each([&](std::size_t i, Eigen::Index first, Eigen::Index count) {
    if (stretches_[i].start == Stretch::Start::free) project(c.decay, m, first, count);
    if (has_own_rise(i) && c.own_rise.size() > 0) project(c.own_rise, m, first, count);
  });
}

Problem::Problem(const std::vector<Stretch>& stretches, const FitOptions& options)
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

Problem::Columns Problem::columns(const Constants& at) const {
  const auto n = Eigen::Index(rows_);
  Columns out;
  for (VectorXd* column : {&out.rise, &out.decay, &out.known, &out.rise_by_tau, &out.rise_by_dead,
                           &out.decay_by_tau}) {
    column->resize(n);
  }
  out.linear.resize(n, shared());
  Response response(at.time_constant_s, at.dead_time_s);
  Eigen::Index row = 0;
  for (std::size_t i = 0; i < stretches_.size(); ++i) {
    const Stretch& s = stretches_[i];
    response.begin(s);
    for (const Reading& r : s.readings) {
      const Response::At& now = response.advance();
      const double of_ambient = s.start == Stretch::Start::ambient ? 1 : 1 - now.decay;
      double known = r.temperature_c;
      if (one_rise()) out.linear(row, 0) = now.rise;
      if (options_.ambient_c) {
        known -= *options_.ambient_c * of_ambient;
      } else {
        out.linear(row, shared() - 1) = of_ambient;
      }
      if (own_rises_ > 0 && !is_driven_[i]) known -= options_.rise_c * now.rise;
      if (s.start == Stretch::Start::given) known -= s.start_c * now.decay;
      out.known[row] = known;
      out.rise[row] = now.rise;
      out.decay[row] = now.decay;
      out.rise_by_tau[row] = now.rise_by_tau;
      out.rise_by_dead[row] = now.rise_by_dead;
      out.decay_by_tau[row] = now.decay_by_tau;
      ++row;
    }
  }
  weigh(out.linear);
  weigh(out.known);
  weigh(out.rise);
  weigh(out.decay);
  if (own_rises_ > 0) {
    VectorXd own = out.rise;
    eliminate(out, own);
    out.own_rise = std::move(own);
  }
  return out;
}

// REQUIRES: the coefficients are solved for.
void Problem::differentiate(const Columns& c, Linearised& out) const {
  const double ambient_c =
      options_.ambient_c ? *options_.ambient_c : out.coefficients[shared() - 1];
  VectorXd left = c.known;
  if (shared() > 0) left.noalias() -= c.linear * out.coefficients;
  out.start_c.resize(stretches_.size());
  out.nonlinear.resize(Eigen::Index(rows_), fits_dead_time() ? 2 : 1);
  for_each([&](std::size_t i, Eigen::Index first, Eigen::Index count) {
    const Stretch& s = stretches_[i];
    double rise_c = one_rise() ? out.coefficients[0] : options_.rise_c;
    if (has_own_rise(i)) {
      const auto r = c.own_rise.segment(first, count);
      rise_c = r.dot(left.segment(first, count)) / r.squaredNorm();
      out.rises_c.push_back(rise_c);
      left.segment(first, count) -= rise_c * c.rise.segment(first, count);
    }
    double start_c = s.start == Stretch::Start::given ? s.start_c : ambient_c;
    if (s.start == Stretch::Start::free) {
      const auto q = c.decay.segment(first, count);
      start_c = q.dot(left.segment(first, count)) / q.squaredNorm();
    }
    out.start_c[i] = start_c;
    out.nonlinear.col(0).segment(first, count) =
        rise_c * c.rise_by_tau.segment(first, count) +
        (start_c - ambient_c) * c.decay_by_tau.segment(first, count);
    if (fits_dead_time()) {
      out.nonlinear.col(1).segment(first, count) = rise_c * c.rise_by_dead.segment(first, count);
    }
  });
  weigh(out.nonlinear);
  if (own_rises_ > 0) differentiate_mean_rise(c, out);
  eliminate(c, out.nonlinear);
}

// A stretch's own rise is r.(known - linear x)/r.r of its own_rise r: linear in the readings and
// in what is shared, and so is the mean. REQUIRES: nonlinear is not projected yet.
void Problem::differentiate_mean_rise(const Columns& c, Linearised& out) const {
  MatrixXd shared_columns(c.linear.rows(), c.linear.cols() + out.nonlinear.cols());
  shared_columns << c.linear, out.nonlinear;
  out.mean_rise_by = VectorXd::Zero(shared_columns.cols());
  for_each([&](std::size_t i, Eigen::Index first, Eigen::Index count) {
    if (!has_own_rise(i)) return;
    const auto r = c.own_rise.segment(first, count);
    out.mean_rise_by -= shared_columns.middleRows(first, count).transpose() * r / r.squaredNorm();
    out.mean_rise_noise += 1 / r.squaredNorm();
  });
  out.mean_rise_by /= double(own_rises_);
  out.mean_rise_noise /= double(own_rises_ * own_rises_);
}

Linearised Problem::at(const Constants& at, bool derivatives) const {
  const Columns c = columns(at);
  Linearised out;
  out.linear = c.linear;
  out.known = c.known;
  eliminate(c, out.linear);
  eliminate(c, out.known);
  out.residuals = out.known;
  if (shared() > 0) {
    const Eigen::ColPivHouseholderQR<MatrixXd> qr(out.linear);
    out.coefficients = qr.solve(out.known);
    out.residuals.noalias() -= out.linear * out.coefficients;
  }
  out.weighted_rss = out.residuals.squaredNorm();
  if (derivatives) differentiate(c, out);
  return out;
}

}  // namespace forewarm::thermal
