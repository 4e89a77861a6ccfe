// What [dialect] set and wait write.
#include <catch2/catch.hpp>

#include "rules/rules.h"

using forewarm::rules::filled_in;

TEST_CASE("the numbers of a command are filled in") {
  CHECK(filled_in("M104 T{tool} S{temp}", 3, 7, 205) == "M104 T3 S205");
  CHECK(filled_in("M104 T{heater} S{temp}", 3, 7, 205.5) == "M104 T7 S205.5");
  CHECK(filled_in("HEAT {temp}/{temp} {what} {", 3, 7, 199.999) == "HEAT 200/200 {what} {");
  CHECK(filled_in("S{temp}", 0, 0, 0) == "S0");
  CHECK(filled_in("AWAIT T{tool} S{temp} L{least}", 3, 7, 205.5, 2) == "AWAIT T3 S205.5 L203.5");
  CHECK(filled_in("L{least}", 3, 7, 205, 0.25) == "L204.75");
  CHECK(filled_in("L{least}", 3, 7, 1, 2) == "L0");
  CHECK(filled_in("S{temp}", 0, 0, 0.25) == "S0.25");
  CHECK(filled_in("", 0, 0, 205) == "");
}
