// The commands by which a job changes what bounds its moves (RepRap convention, public wiki
// "G-code", revision of 2012, seen; M205 J from memory).
#include "motion/limits.h"

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>

using namespace forewarm;

TEST_CASE("limits as jobs set them") {
  const auto after = [](std::initializer_list<const char*> lines) {
    motion::Limits l;
    gcode::Words w;
    for (const char* text : lines) {
      gcode::parse(text, w);
      l.take(w);
    }
    return l;
  };
  CHECK(after({"M201 X1000 Y900 Z100 E5000"}).max_accel ==
        std::array<double, 4>{1000, 900, 100, 5000});
  CHECK(after({"M203 X200 E25"}).max_speed == std::array<double, 4>{200, 300, 12, 25});
  CHECK(after({"M203 X12000 Y12000 Z600 E3000"}).max_speed ==
        std::array<double, 4>{200, 200, 10, 50});  // mm/min
  const auto pt = after({"M204 P1250 R1500 T2500"});
  CHECK((pt.accel_print == 1250 && pt.accel_retract == 1500 && pt.accel_travel == 2500));
  const auto s = after({"M204 S800"});
  CHECK((s.accel_print == 800 && s.accel_travel == 800 && s.accel_retract == 1500));
  CHECK(after({"M205 X8 Y7 Z0.4 E4.5"}).jerk == std::array<double, 4>{8, 7, 0.4, 4.5});
  CHECK(after({"M205 J0.03"}).junction_deviation == 0.03);
  CHECK(after({"M205 J0.03", "M205 X8"}).junction_deviation == 0);
  CHECK(after({"M205 J0.03", "M205 X8"}).jerk[1] == 8);
  CHECK(after({"M220 S50"}).speed_factor == 0.5);
  CHECK(after({"M221 S95"}).flow_factor == 0.95);
  CHECK(after({"M207 S1.2 F2400"}).retract_mm_s == 40);
  CHECK(after({"M566 X480"}).jerk[0] == 8);
  CHECK(after({"M204 P0", "M203 X-5", "M220 S0", "M104 S200", "G1 X1"}) == motion::Limits{});
}

namespace {
motion::Limits after(const std::string& text) {
  motion::Limits l;
  gcode::Words w;
  gcode::parse(text, w);
  l.take(w);
  return l;
}
bool takes(const std::string& text) {
  motion::Limits l;
  gcode::Words w;
  gcode::parse(text, w);
  return l.take(w);
}
}  // namespace

TEST_CASE("M204: S for moves and T for filament alone, or P R T") {
  const auto old = after("M204 S800 T2000");
  CHECK((old.accel_print == 800 && old.accel_travel == 800 && old.accel_retract == 2000));
  const auto print = after("M204 P800");
  CHECK((print.accel_print == 800 && print.accel_travel == 1500 && print.accel_retract == 1500));
  const auto travel = after("m204 t900");
  CHECK((travel.accel_print == 1500 && travel.accel_travel == 900));
}

TEST_CASE("M205: jerk or junction deviation, and lowest speeds") {
  CHECK(after("M205 X10").jerk == std::array<double, 4>{10, 10, 0.4, 5});  // one for the plane
  CHECK(after("M205 Y10").jerk == std::array<double, 4>{8, 10, 0.4, 5});
  CHECK(after("M205 Z1 E2").jerk == std::array<double, 4>{8, 8, 1, 2});
  CHECK(after("M205 S2 T3").min_print_speed == 2);
  CHECK(after("M205 S2 T3").min_travel_speed == 3);
  CHECK(after("M205 J0.02 X9").junction_deviation == 0.02);
}

TEST_CASE("where corners go by the speed through a right angle, M205 and M566 set nothing") {
  motion::Limits l;
  l.right_angle = 5;
  const motion::Limits before = l;
  gcode::Words w;
  for (const char* line : {"M205 X10", "M205 J0.02", "M205 S2 T3", "M566 X480"}) {
    INFO(line);
    gcode::parse(line, w);
    CHECK(l.leaves_aside(w));
    CHECK_FALSE(motion::Limits{}.leaves_aside(w));
    CHECK_FALSE(l.take(w));
    CHECK(l == before);
  }
  gcode::parse("M204 S800", w);
  CHECK_FALSE(l.leaves_aside(w));
  CHECK(l.take(w));
  CHECK(l.accel_print == 800);
}

TEST_CASE("M203: millimetres a minute only where no machine is that fast a second") {
  CHECK(after("M203 X2000").max_speed[0] == 2000);
  CHECK(after("M203 X2040").max_speed[0] == 34);
  CHECK(after("M203 X12000 Z480").max_speed[2] == 8);  // one line has one unit
}

TEST_CASE("M207: retraction by firmware") {
  const auto l = after("M207 S0.8 F1800 T900");
  CHECK((l.retract_mm == 0.8 && l.retract_mm_s == 30 && l.unretract_mm_s == 15));
  CHECK(after("M207 S0").retract_mm == 0);
  CHECK(after("M207 S-1").retract_mm == 0);
}

TEST_CASE("what takes and what does not") {
  for (const char* line : {"M201", "M203", "M204", "M205", "M207", "M220", "M221", "M566"}) {
    INFO(line);
    CHECK(takes(line));
    CHECK(after(line) == motion::Limits{});  // no letter, no change
  }
  for (const char* line : {"", "G1 X5", "M104 S200", "M2040 S5", "M204.5 S5", "M", "T204",
                           "M99999999999999999999 S5", "M204 S5 #", "/M204 S5", ";M204 S5"}) {
    INFO(line);
    CHECK_FALSE(takes(line));
    CHECK(after(line) == motion::Limits{});
  }
}

TEST_CASE("values that are no limits leave those in force") {
  const std::string huge(300, '9');
  for (const std::string& line :
       {std::string("M201 X0 Y-5 Z E"), std::string("M204 S"), std::string("M205 X0 J0 S-1"),
        "M201 X" + huge, "M204 P" + huge, "M205 S" + huge, "M220 S" + huge,
        "M207 S" + huge + " F" + huge, std::string("M204 S0.0000000001")}) {
    INFO(line);
    CHECK(after(line) == motion::Limits{});
  }
}
