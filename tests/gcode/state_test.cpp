#include "gcode/state.h"

#include <fmt/format.h>
#include <catch2/catch.hpp>

#include <numbers>
#include <string>
#include <vector>

using namespace forewarm;

namespace {

struct Machine {
  gcode::State state;
  gcode::Effect effect;
  void operator()(std::string_view line) {
    gcode::Words w;
    gcode::parse(line, w);
    gcode::apply(w, state, effect);
  }
  [[nodiscard]] std::string at() const {
    const auto& p = state.position;
    return fmt::format("{:g} {:g} {:g} {:g}", p[0] + 0.0, p[1], p[2], p[3]);
  }
};

}  // namespace

TEST_CASE("positions through modes and units") {
  Machine m;
  m("G1 X10 Y5 Z1 E2 F1200");
  CHECK(m.at() == "10 5 1 2");
  CHECK(m.effect.feed_mm_s == Approx(20));
  m("G91");
  m("G1 X1 E1");
  CHECK(m.at() == "11 5 1 3");
  m("G90");
  m("M83");
  m("G1 X2 E1");
  CHECK(m.at() == "2 5 1 4");
  m("G20");
  m("G1 X1 E0.5 F60");
  CHECK(m.at() == "25.4 5 1 16.7");
  CHECK(m.effect.feed_mm_s == Approx(25.4));
  m("G21");
  m("M82");
  m("X3 E5");  // the motion in force goes on
  CHECK(m.at() == "3 5 1 5");
  m("G28 X");
  CHECK(m.at() == "0 5 1 5");
  m("G28");
  CHECK(m.at() == "0 0 0 5");
}

// NISTIR 6556 section 3.5.18 (seen): at X=4 with offset 0, G92 x7 makes the offset -3.
TEST_CASE("G92 moves the origin, not the tool") {
  Machine m;
  m("G1 X4");
  m("G92 X7");
  CHECK(m.state.position[0] == 7);
  CHECK(m.state.offset[0] == -3);
  m("G92 X9");
  CHECK(m.state.offset[0] == -5);
  m("G53 G1 X6");
  CHECK(m.state.position[0] + m.state.offset[0] == 6);
  m("G92.1");
  CHECK(m.state.position[0] == 6);
  CHECK(m.state.offset[0] == 0);
}

// NISTIR 6556 section 3.5.19 (seen): in inverse time, F2.0 takes half a minute.
TEST_CASE("inverse time feed") {
  Machine m;
  m("G93");
  m("G1 X60 F2.0");
  CHECK(60 / m.effect.feed_mm_s == Approx(30));
}

TEST_CASE("selects as jobs write them") {
  struct Row {
    const char* line;
    int tool;  // -9: no select
  };
  const Row row = GENERATE(values<Row>({
      {"T3", 3},          {"t3", 3},
      {"T3 S1 L0 D0", 3}, {"M6 T3", 3},
      {"T3 M6", 3},       {"M06T3", 3},
      {"T-1", -1},        {"N4 T2*56", 2},
      {"T0", 0},          {"T", -9},
      {"Tx", -9},         {"T?", -9},
      {"T1.5", -9},       {"M104 T3 S200", -9},
      {"M204 T500", -9},  {"M117 T3", -9},
      {"; T3", -9},       {"G10 P3 T1", -9},
      {"TOOL 3", -9},     {"/T3", -9},
      {"T99999999", -9},
  }));
  INFO(row.line);
  Machine m;
  m(row.line);
  CHECK((m.effect.selects ? m.effect.tool : -9) == row.tool);
}

TEST_CASE("targets as jobs write them") {
  const auto read = [](const char* line) {
    Machine m;
    m(line);
    const auto& e = m.effect;
    if (!e.sets_target) return std::string("none");
    return fmt::format("{}{} T{} {}", e.waits_for_target ? "wait" : "set",
                       e.waits_for_cooling ? " cool" : "",
                       e.target_index ? std::to_string(*e.target_index) : "-",
                       e.has_temp ? fmt::format("{:g}", e.temp_c) : "-");
  };
  CHECK(read("M104 S200") == "set T- 200");
  CHECK(read("m104 t1 s215.5") == "set T1 215.5");
  CHECK(read("M104 S0 T2") == "set T2 0");
  CHECK(read("M109 S200") == "wait T- 200");
  CHECK(read("M109 R50 T1") == "wait cool T1 50");
  CHECK(read("M109") == "wait T- -");
  CHECK(read("M104") == "set T- -");
  CHECK(read("M140 S60") == "none");
  CHECK(read("M1090 S60") == "none");
}

TEST_CASE("dwells") {
  Machine m;
  m("G4 P1500");
  CHECK(m.effect.dwell_s == 1.5);
  m("G4 S2");
  CHECK(m.effect.dwell_s == 2);
  m("G4");
  CHECK(m.effect.dwell_s == 0);
}

// NISTIR 6556 section 3.5.3 (seen): the arc from (7,7); sweep and lengths worked out from it.
TEST_CASE("the standard's arc") {
  Machine m;
  m("G1 X7 Y7");
  m("G17 G2 x10 y16 i3 j4 z9");
  REQUIRE(m.effect.arc);
  const gcode::Arc& a = *m.effect.arc;
  CHECK(a.radius_mm == Approx(5));
  CHECK(a.sweep * 180 / std::numbers::pi == Approx(-143.130102));
  CHECK(std::abs(a.radius_mm * a.sweep) == Approx(12.4904577));
  CHECK(a.length_mm == Approx(15.3951789));
  CHECK(a.radius_gap_mm == Approx(0).margin(1e-12));
}

TEST_CASE("arcs by radius: short for R > 0, long for R < 0") {
  const auto sweep = [](const char* line) {
    Machine m;
    m(line);
    return m.effect.arc ? m.effect.arc->sweep * 180 / std::numbers::pi : 0;
  };
  CHECK(sweep("G2 X10 Y10 R10") == Approx(-90));
  CHECK(sweep("G3 X10 Y10 R10") == Approx(90));
  CHECK(sweep("G2 X10 Y10 R-10") == Approx(-270));
  CHECK(sweep("G3 X10 Y10 R-10") == Approx(270));
  CHECK(sweep("G2 X20 Y0 R10") == Approx(-180));
  CHECK(sweep("G2 X0 Y0 I5") == Approx(-360));  // a full circle
  CHECK(sweep("G3 I5 J0") == Approx(360));
  CHECK(sweep("G2 X30 Y0 R10") == 0);  // too far apart: no arc
  CHECK(sweep("G2 X10 Y0") == 0);
}

TEST_CASE("arcs in the other planes") {
  Machine m;
  m("G18");
  m("G2 X10 Z10 I10 K0");  // Z is the first axis of G18, X the second
  REQUIRE(m.effect.arc);
  CHECK(m.effect.arc->radius_mm == Approx(10));
  m("G19");
  m("G3 Y10 Z20 J10 K0");
  REQUIRE(m.effect.arc);
  CHECK(m.effect.arc->sweep * 180 / std::numbers::pi == Approx(270));
}

TEST_CASE("a state is a value that can be compared") {
  Machine a;
  Machine b;
  for (const char* line : {"G91", "M83", "G1 X1 Y2 E3 F600"}) a(line), b(line);
  CHECK(a.state == b.state);
  b("G1 X1");
  b("G1 X-1");
  CHECK(a.state == b.state);
  b("M82");
  CHECK_FALSE(a.state == b.state);
}
