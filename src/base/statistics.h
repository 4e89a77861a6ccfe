// Summary statistics of a sample, and intervals for a share.
//
// Contract: pure. moments() is exact to rounding also where the mean is large beside the spread
// (two passes, corrected). Intervals are two-sided at `level`, and lie in 0 to 1: Wilson's, and the
// exact one of Clopper and Pearson (NIST/SEMATECH e-Handbook, 7.2.4.1 and 7.2.4.2).
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace forewarm {

struct Moments {
  double mean = 0;
  double sd = 0;  // by n - 1; 0 for fewer than two values
};
[[nodiscard]] Moments moments(std::span<const double> values);
// The mean of the middle two of an even number. REQUIRES: not empty.
[[nodiscard]] double median(std::vector<double> values);
// The standard deviation that `sizes`, distances from the middle of a normal distribution, tell by
// their median, which outliers hardly move. REQUIRES: not empty.
[[nodiscard]] double sd_by_median(std::vector<double> sizes);

struct Interval {
  double low = 0, high = 1;
};
// REQUIRES: hits <= of; of > 0; 0 < level < 1.
[[nodiscard]] Interval wilson(std::uint64_t hits, std::uint64_t of, double level);
[[nodiscard]] Interval clopper_pearson(std::uint64_t hits, std::uint64_t of, double level);

// The standard normal distribution's: the z below which a share p lies. REQUIRES: 0 < p < 1.
[[nodiscard]] double normal_quantile(double p);
// The regularized incomplete beta function. REQUIRES: a, b > 0; 0 <= x <= 1.
[[nodiscard]] double incomplete_beta(double a, double b, double x);

}  // namespace forewarm
