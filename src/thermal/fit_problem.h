// The least-squares problem of fit.h for a given time constant and dead time. For fit.h alone.
//
// The model is linear in all else then. What a stretch has of its own, its start and with
// FitOptions::own_rise its rise, is eliminated by projecting its rows; what all stretches share,
// the one rise and ambient, is solved for. The derivatives by the two constants are those of what
// is left (variable projection, see fit.h).
//
// Each reading has a weight, 1 unless it is given another. Pure. REQUIRES: stretches and options
// outlive the problem.
#pragma once

#include <Eigen/Dense>
#include <utility>
#include <vector>

#include "thermal/fit.h"

namespace forewarm::thermal {

struct Constants {
  double time_constant_s = 1, dead_time_s = 0;
};

// What all stretches share, once each stretch's own constants are projected out of every column.
struct Linearised {
  Eigen::MatrixXd linear;
  Eigen::VectorXd known;
  Eigen::VectorXd coefficients;  // of linear
  Eigen::VectorXd residuals;     // weighted
  Eigen::MatrixXd nonlinear;     // d/d time constant, d/d dead time
  std::vector<double> start_c;   // of each stretch
  std::vector<double> rises_c;   // of each that is driven, where they are their own
  // Of their mean: its derivatives by the columns of linear and nonlinear, and its variance for
  // readings of variance 1.
  Eigen::VectorXd mean_rise_by;
  double mean_rise_noise = 0;
  double weighted_rss = 0;
};

class Problem {
 public:
  Problem(const std::vector<Stretch>& stretches, const FitOptions& options);

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
  void set_root_weights(Eigen::VectorXd w) { root_weights_ = std::move(w); }
  [[nodiscard]] const Eigen::VectorXd& root_weights() const { return root_weights_; }

  // With `derivatives`, also the columns of the two constants, and what is each stretch's own.
  [[nodiscard]] Linearised at(const Constants& at, bool derivatives) const;

 private:
  struct Columns;
  [[nodiscard]] Columns columns(const Constants& at) const;
  void differentiate(const Columns& c, Linearised& out) const;
  void differentiate_mean_rise(const Columns& c, Linearised& out) const;
  [[nodiscard]] bool has_own_rise(std::size_t stretch) const {
    return own_rises_ > 0 && is_driven_[stretch];
  }
  template <class Matrix>
  void weigh(Matrix& m) const;
  template <class Visit>
  void for_each(Visit visit) const;
  template <class Matrix>
  void eliminate(const Columns& c, Matrix& m) const;

  const std::vector<Stretch>& stretches_;
  const FitOptions& options_;
  std::size_t rows_ = 0, free_starts_ = 0;
  bool driven_ = false;
  std::vector<bool> is_driven_;
  std::size_t own_rises_ = 0;
  Eigen::VectorXd root_weights_;
};

}  // namespace forewarm::thermal
