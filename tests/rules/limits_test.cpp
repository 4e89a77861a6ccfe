// Bounds of numbers, and how they are said.
#include "rules/limits.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

using namespace forewarm::rules;

TEST_CASE("bounds are inclusive, but for a low one that is not") {
  const Limits both{0.5, 2}, over{0, 10, true};
  for (const double value : {0.5, 1.0, 2.0}) CHECK(both.admit(value));
  for (const double value : {std::nextafter(0.5, 0.0), std::nextafter(2.0, 3.0), -1.0, 1e300}) {
    CHECK_FALSE(both.admit(value));
  }
  CHECK(over.admit(std::numeric_limits<double>::denorm_min()));
  CHECK(over.admit(10));
  CHECK_FALSE(over.admit(0));
  CHECK_FALSE(over.admit(-0.0));
  for (const double odd : {double(NAN), double(INFINITY), double(-INFINITY)}) {
    for (const Limits& limits : {both, over, kAtLeastZero, kOverZero}) {
      CHECK_FALSE(limits.admit(odd));
    }
  }
}

TEST_CASE("bounds in messages and in references") {
  struct Row {
    Limits limits;
    const char *text, *range;
  };
  for (const Row& row : {
           Row{{0, 1000}, "must be from 0 to 1000", "0 to 1000"},
           Row{{-0.5, 0.999999}, "must be from -0.5 to 0.999999", "-0.5 to 0.999999"},
           Row{{0, 1e7, true},
               "must be more than 0 and at most 10000000",
               "over 0, at most 10000000"},
           Row{kAtLeastZero, "must be at least 0", "at least 0"},
           Row{kOverZero, "must be more than 0", "over 0"},
       }) {
    CHECK(row.limits.text() == row.text);
    CHECK(row.limits.range() == row.range);
  }
}

TEST_CASE("numbers as people write them") {
  CHECK(text_of(0) == "0");
  CHECK(text_of(0.1) == "0.1");
  CHECK(text_of(-15) == "-15");
  CHECK(text_of(1e7) == "10000000");
  CHECK(text_of(1e15) == "1e+15");
  CHECK(text_of(1e-7) == "1e-07");
  CHECK(text_of(NAN) == "nan");
  CHECK(text_of(-INFINITY) == "-inf");
}
