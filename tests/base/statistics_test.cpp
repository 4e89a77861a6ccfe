#include "base/statistics.h"

#include <boost/math/distributions/normal.hpp>
#include <catch2/catch.hpp>
#include <cmath>

using namespace forewarm;

namespace {

// first, then two values in turn, 1001 in all: NIST's rule for NumAcc2 to NumAcc4.
std::vector<double> in_turn(double first, double a, double b) {
  std::vector<double> out{first};
  while (out.size() < 1001) out.push_back(out.size() % 2 == 1 ? a : b);
  return out;
}

double digits(double value, double certified) {
  return value == certified ? 15 : -std::log10(std::abs(value - certified) / certified);
}

}  // namespace

// NIST Statistical Reference Datasets, univariate summary statistics (from memory; the data follow
// from the rule).
TEST_CASE("statistics: mean and deviation of NIST's NumAcc1 to NumAcc4") {
  struct Case {
    const char* name;
    std::vector<double> values;
    double mean, sd;
    double sd_digits;  // no more than the nearest doubles to the data have
  };
  for (const Case& c :
       {Case{"NumAcc1", {10000001, 10000003, 10000002}, 10000002, 1, 15},
        Case{"NumAcc2", in_turn(1.2, 1.1, 1.3), 1.2, 0.1, 14},
        Case{"NumAcc3", in_turn(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 9},
        Case{"NumAcc4", in_turn(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 8}}) {
    CAPTURE(c.name);
    const Moments m = moments(c.values);
    CHECK(digits(m.mean, c.mean) >= 15);
    CHECK(digits(m.sd, c.sd) >= c.sd_digits);
  }
}

TEST_CASE("statistics: a deviation by the median is that of a normal distribution, and robust") {
  std::vector<double> sizes;
  for (int i = 0; i < 1000; ++i) {
    sizes.push_back(std::abs(3 * normal_quantile((i + 0.5) / 1000)));
  }
  CHECK(sd_by_median(sizes) == Approx(3).epsilon(0.005));
  for (int i = 0; i < 50; ++i) sizes[std::size_t(i)] = 1e6;
  CHECK(sd_by_median(sizes) == Approx(3).epsilon(0.12));
  CHECK(sd_by_median({0}) == 0);
}

TEST_CASE("statistics: few values") {
  CHECK(moments({}).mean == 0);
  const std::vector<double> one{7};
  CHECK(moments(one).mean == 7);
  CHECK(moments(one).sd == 0);
  CHECK(median({3}) == 3);
  CHECK(median({5, 1, 4}) == 4);
  CHECK(median({4, 1, 3, 2}) == 2.5);
}

// NIST/SEMATECH e-Handbook, 7.2.4.1 (Wilson) and 7.2.4.2 (exact; its example is 4 of 20 at 90 %);
// the other values worked out from the formulas there.
TEST_CASE("statistics: Wilson's interval and the exact one") {
  struct Case {
    std::uint64_t hits, of;
    double level, low, high, wilson_low, wilson_high;
  };
  for (const Case& c : {Case{4, 20, 0.90, 0.071354, 0.401028, 0.093118, 0.378377},
                        Case{0, 10, 0.95, 0, 0.308497, 0, 0.277533},
                        Case{1, 681, 0.95, 0.0000372, 0.0081542, 0.0002593, 0.0082704},
                        Case{7, 256, 0.95, 0.0110628, 0.0555246, 0.0133072, 0.0553557}}) {
    CAPTURE(c.hits, c.of);
    const Interval exact = clopper_pearson(c.hits, c.of, c.level);
    const Interval wilsons = wilson(c.hits, c.of, c.level);
    const double last = c.of > 20 ? 6e-8 : 6e-7;
    CHECK(exact.low == Approx(c.low).margin(last));
    CHECK(exact.high == Approx(c.high).margin(last));
    CHECK(wilsons.low == Approx(c.wilson_low).margin(last));
    CHECK(wilsons.high == Approx(c.wilson_high).margin(last));
    // All but the hits are the others' hits.
    const Interval mirrored = clopper_pearson(c.of - c.hits, c.of, c.level);
    CHECK(mirrored.low == Approx(1 - exact.high).margin(1e-12));
    CHECK(mirrored.high == Approx(1 - exact.low).margin(1e-12));
    const Interval turned = wilson(c.of - c.hits, c.of, c.level);
    CHECK(turned.low == Approx(1 - wilsons.high).margin(1e-12));
    CHECK(turned.high == Approx(1 - wilsons.low).margin(1e-12));
  }
}

TEST_CASE("statistics: the exact interval holds what it says, by adding up the binomial") {
  for (const std::uint64_t of : {1U, 5U, 30U, 200U}) {
    for (std::uint64_t hits = 0; hits <= of; hits += std::max<std::uint64_t>(1, of / 6)) {
      const Interval i = clopper_pearson(hits, of, 0.95);
      const auto at_most = [&](std::uint64_t k, double p) {
        double sum = 0;
        for (std::uint64_t x = 0; x <= k; ++x) {
          sum += std::exp(std::lgamma(double(of) + 1) - std::lgamma(double(x) + 1) -
                          std::lgamma(double(of - x) + 1) + double(x) * std::log(p) +
                          double(of - x) * std::log1p(-p));
        }
        return sum;
      };
      CAPTURE(hits, of);
      if (hits < of) CHECK(at_most(hits, i.high) == Approx(0.025).epsilon(1e-8));
      if (hits > 0) CHECK(1 - at_most(hits - 1, i.low) == Approx(0.025).epsilon(1e-8));
    }
  }
}

TEST_CASE("statistics: the normal quantile undoes the distribution") {
  CHECK(normal_quantile(0.5) == Approx(0).margin(1e-12));
  CHECK(normal_quantile(0.975) == Approx(1.959963984540054).epsilon(1e-12));  // any table
  CHECK(normal_quantile(0.95) == Approx(1.644853626951473).epsilon(1e-12));
  const boost::math::normal normal;  // another library's
  for (double share = 0.5; share < 0.999999; share += 0.000977) {
    CHECK(normal_quantile(share) == Approx(boost::math::quantile(normal, share)).margin(1e-10));
  }
  for (const double p : {1e-9, 0.01, 0.3, 0.7, 0.999}) {
    CHECK(std::erfc(-normal_quantile(p) / std::sqrt(2.0)) / 2 == Approx(p).epsilon(1e-9));
  }
}
