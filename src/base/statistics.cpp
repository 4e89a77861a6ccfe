#include "base/statistics.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace forewarm {

namespace {

// Neumaier's sum: the part that rounding loses is kept beside it.
class Sum {
 public:
  void add(double x) {
    const double next = sum_ + x;
    lost_ += std::abs(sum_) >= std::abs(x) ? (sum_ - next) + x : (x - next) + sum_;
    sum_ = next;
  }
  [[nodiscard]] double value() const { return sum_ + lost_; }

 private:
  double sum_ = 0, lost_ = 0;
};

// The x in 0 to 1 at which `below(x)` turns from true to false.
template <class Below>
double bisected(Below below) {
  double low = 0, high = 1;
  for (int i = 0; i < 200; ++i) {
    const double middle = low + (high - low) / 2;
    if (middle == low || middle == high) break;
    (below(middle) ? low : high) = middle;
  }
  return low + (high - low) / 2;
}

// The continued fraction of the incomplete beta function, by Lentz's method.
double beta_fraction(double a, double b, double x) {
  constexpr double kTiny = 1e-300;
  const auto away = [](double v) { return std::abs(v) < kTiny ? kTiny : v; };
  double c = 1, d = 1 / away(1 - (a + b) * x / (a + 1)), out = d;
  for (int m = 1; m < 100000; ++m) {
    for (const double step : {m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
                              -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))}) {
      d = 1 / away(1 + step * d);
      c = away(1 + step / c);
      out *= d * c;
    }
    if (std::abs(d * c - 1) < 1e-16) break;
  }
  return out;
}

}  // namespace

Moments moments(std::span<const double> values) {
  if (values.empty()) return {};
  const double n = double(values.size());
  Sum sum;
  for (const double v : values) sum.add(v);
  const double about = sum.value() / n;
  Sum deviations, squares;
  for (const double v : values) {
    deviations.add(v - about);
    squares.add((v - about) * (v - about));
  }
  const double off = deviations.value() / n;
  Moments out{about + off, 0};
  if (values.size() > 1) {
    out.sd = std::sqrt(std::max(0.0, squares.value() - n * off * off) / (n - 1));
  }
  return out;
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + std::ptrdiff_t(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return (*middle + *std::max_element(values.begin(), middle)) / 2;
}

double sd_by_median(std::vector<double> sizes) {
  constexpr double kOfNormal = 0.6744897501960817;  // normal_quantile(0.75)
  return median(std::move(sizes)) / kOfNormal;
}

double normal_quantile(double p) {
  // The lower half; the upper one mirrors it without losing digits near 1.
  const double tail = std::min(p, 1 - p);
  double low = -40, high = 0;
  for (int i = 0; i < 200; ++i) {
    const double middle = low + (high - low) / 2;
    (std::erfc(-middle / std::sqrt(2.0)) / 2 < tail ? low : high) = middle;
  }
  return p <= 0.5 ? high : -high;
}

double incomplete_beta(double a, double b, double x) {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  const double front = std::exp(std::lgamma(a + b) - std::lgamma(a) - std::lgamma(b) +
                                a * std::log(x) + b * std::log1p(-x));
  if (x < (a + 1) / (a + b + 2)) return front * beta_fraction(a, b, x) / a;
  return 1 - front * beta_fraction(b, a, 1 - x) / b;
}

Interval wilson(std::uint64_t hits, std::uint64_t of, double level) {
  const double n = double(of), share = double(hits) / n;
  const double z = normal_quantile(0.5 + level / 2), zz = z * z;
  const double middle = (share + zz / (2 * n)) / (1 + zz / n);
  const double half = z / (1 + zz / n) * std::sqrt(share * (1 - share) / n + zz / (4 * n * n));
  return {hits == 0 ? 0 : std::max(0.0, middle - half),
          hits == of ? 1 : std::min(1.0, middle + half)};
}

Interval clopper_pearson(std::uint64_t hits, std::uint64_t of, double level) {
  const double n = double(of), k = double(hits), tail = (1 - level) / 2;
  Interval out;
  if (hits > 0) {
    out.low = bisected([&](double p) { return incomplete_beta(k, n - k + 1, p) < tail; });
  }
  if (hits < of) {
    out.high = bisected([&](double p) { return 1 - incomplete_beta(k + 1, n - k, p) > tail; });
  }
  return out;
}

}  // namespace forewarm
