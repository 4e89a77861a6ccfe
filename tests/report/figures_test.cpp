#include "report/figures.h"

#include <catch2/catch.hpp>
#include <limits>

#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

TEST_CASE("filament by the metre and to the kilogram") {
  // Published filament tables: PLA 1.24, PETG 1.27, ABS 1.04 g/cm3; of 1.75 mm filament that is
  // 2.98255, 3.05471 and 2.50149 g to the metre, and 335.284 m of PLA to the kilogram, each to
  // six digits.
  rules::Filament f;
  CHECK(grams({0, 335'284, 0, 0}, f).part_g == Approx(1000).epsilon(2e-6));
  CHECK(grams({0, 1000, 2000, 0}, f).part_g == Approx(2.98255).epsilon(2e-6));
  CHECK(grams({0, 1000, 2000, 0}, f).purge_g == Approx(5.96510).epsilon(2e-6));
  f.density_g_cm3 = 1.27;
  CHECK(grams({0, 1000, 0, 0}, f).part_g == Approx(3.05471).epsilon(2e-6));
  f.density_g_cm3 = 1.04;
  CHECK(grams({0, 1000, 0, 0}, f).part_g == Approx(2.50149).epsilon(2e-6));
  f.diameter_mm = 3.5;  // twice as thick: four times as much
  CHECK(grams({0, 1000, 0, 0}, f).part_g == Approx(4 * 2.50149).epsilon(2e-6));
}

TEST_CASE("times read as people say them, also at the edges") {
  CHECK(duration(0) == "0 s");
  CHECK(duration(-3) == "0 s");
  CHECK(duration(4.25) == "4.2 s");
  CHECK(duration(59.94) == "59.9 s");
  CHECK(duration(59.96) == "1 min 00 s");
  CHECK(duration(3599.4) == "59 min 59 s");
  CHECK(duration(3599.6) == "1 h 00 min");
  CHECK(duration(25'512) == "7 h 05 min");
  CHECK(duration(std::numeric_limits<double>::infinity()) == "-");
  CHECK(duration(std::numeric_limits<double>::quiet_NaN()) == "-");
  CHECK(clock(0) == "0:00:00");
  CHECK(clock(3599.6) == "1:00:00");
  CHECK(clock(90'061) == "25:01:01");
}

TEST_CASE("numbers and sizes") {
  CHECK(number(-0.04, 1) == "0.0");
  CHECK(number(-0.06, 1) == "-0.1");
  CHECK(number(std::numeric_limits<double>::infinity(), 1) == "-");
  CHECK(size(1) == "1 byte");
  CHECK(size(999) == "999 bytes");
  CHECK(size(999'949) == "999.9 kB");
  CHECK(size(999'950) == "1.0 MB");
  CHECK(size(2'500'000'000) == "2.5 GB");
}

TEST_CASE("what is shown is valid UTF-8 without control characters") {
  const std::string replaced = "\xef\xbf\xbd";
  CHECK(clean("\xc3\xa9t\xc3\xa9 \xe2\x82\xac \xf0\x9f\x8c\xb2") ==
        "\xc3\xa9t\xc3\xa9 \xe2\x82\xac \xf0\x9f\x8c\xb2");
  CHECK(clean("a\x1b[31mb\tc") == "a?[31mb c");
  CHECK(clean("\xff|\xc0\xaf|\xed\xa0\x80|\xf4\x90") == replaced + '|' + replaced + replaced + '|' +
                                                            replaced + replaced + replaced + '|' +
                                                            replaced + replaced);
  CHECK(clean("ab\xe2\x82\xac", 4) == "ab...");  // cut inside
}

TEST_CASE("late gaps are the worst, then hot ones, then early ones") {
  Sample s;
  s.gap(0, {}, {}, 5000, 5100, plan::Treatment::standby, 170, {}, 0, 90.52, "as hot as another");
  s.gap(0, {}, {}, 6000, 6100, plan::Treatment::standby, 170, {}, 20, 0, "late");
  s.lookahead.gaps[1].wait_s = 0;
  std::string reasons;
  for (const plan::GapPlan* gap : worst(s.lookahead, 10)) reasons += gap->reason + "; ";
  CHECK(reasons ==
        "late; parked 1200 s, preheat 60 s ahead; as hot as another; parked, would dip only 2 C; ");
  CHECK(worst(s.lookahead, 2).size() == 2);
}

TEST_CASE("what exchanges purge is added in grams") {
  // 1000 mm3 of 1.24 g/cm3 are 1.24 g; 100 mm of 1.75 mm filament are 240.53 mm3.
  job::Material m;
  m.purge_mm = 100;
  m.exchange_purge_mm3 = 1000;
  const Grams g = grams(m, rules::Filament{});
  CHECK(g.exchange_purge_g == Approx(1.24));
  CHECK(g.purge_g == Approx(1.24 + 0.240528 * 1.24));
  CHECK(g.part_g == 0);
}
