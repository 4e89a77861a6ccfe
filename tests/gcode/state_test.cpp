// What gcode/state.h promises: what each line does to the modes, the position and the machine.
#include "gcode/state.h"

#include <fmt/format.h>
#include <catch2/catch.hpp>

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
      {"T99999999", -9},  {"T99999999999999999999999", -9},
      {"T-2", -9},        {"M6", -9},
      {"M6 T", -9},       {"G1 X1 T3", -9},
      {"T3 ; note", 3},   {" T 3", 3},
      {"M60 T3", -9},     {"T3 X1 Y1", 3},
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

// RepRap convention, from memory.
TEST_CASE("the part fan") {
  struct Row {
    const char* line;
    double fan;  // was 100
  };
  const Row row = GENERATE(values<Row>({
      {"M106 S51", 51},    {"m106s127.5", 127.5}, {"M106", 255},
      {"M106 S", 255},     {"M106 P0 S20", 20},   {"M106 P S20", 20},
      {"M106 S0", 0},      {"M106 S300", 255},    {"M106 S-3", 0},
      {"M107", 0},         {"M107 P0", 0},        {"M106 P1 S20", 100},  // another fan
      {"M107 P2", 100},    {"M106.1 S20", 100},   {"M1060 S20", 100},
      {"M108 S20", 100},   {"G106 S20", 100},     {"M117 M106 S20", 100},
      {"; M106 S20", 100}, {"T106 S20", 100},     {"G28", 100},
  }));
  INFO(row.line);
  Machine m;
  CHECK(m.state.fan == 0);
  m("M106 S100");
  m(row.line);
  CHECK(m.state.fan == row.fan);
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

TEST_CASE("a line led by T never moves") {
  Machine m;
  m("G1 X1");
  for (const char* line : {"T1 X5", "T X5", "T1.5 X5", "T99999999 X5"}) {
    INFO(line);
    m(line);
    CHECK_FALSE(m.effect.moves);
    CHECK(m.at() == "1 0 0 0");
  }
}

// NISTIR 6556 section 3.3.3 (seen) begins its example of orders with g40 g1: a mode beside a motion
// leaves the axis words to it. A command that takes axis words of its own does not.
TEST_CASE("who owns the axis words") {
  struct Case {
    const char* line;
    double x;
  };
  const Case row = GENERATE(values<Case>({
      {"G40 G1 X5", 5},
      {"G1 G40 X5", 5},
      {"G17 G21 G40 G49 G80 G54 G90 G94 G1 X5", 5},
      {"G64 X5 G1", 5},
      {"G61.1 G1 X5", 5},
      {"G1 M83 X5", 5},
      {"X5", 5},
      {"X5 F600", 5},
      {"G53 X5", 1},
      {"G90 X5", 1},  // RepRap convention: no G0..G3, no motion
      {"M84 X5", 1},
      {"M201 X5", 1},
      {"G4 X5", 1},
      {"G10 X5", 1},
      {"G11 X5", 1},
      {"G29 X5", 1},
      {"G38.2 X5", 1},
      {"G1.04 X5", 1},  // no such command
      {"G99999999999999999999 X5", 1},
      {"G-1 X5", 1},
      {"G X5", 1},
      {"M X5", 1},
      {"M99999999999999999999 X5", 1},
      {"G92 X5", 5},
      {"G28 X5", 0},
      {"G28.1 X5", 1},
  }));
  INFO(row.line);
  Machine m;
  m("G1 X1");
  m(row.line);
  CHECK(m.state.position[0] == row.x);
}

TEST_CASE("G80 ends the motion in force") {
  Machine m;
  m("X5");
  CHECK(m.state.position[0] == 0);  // none yet
  m("G0 X1");
  m("X2");
  CHECK(m.state.position[0] == 2);
  m("G80");
  m("X3");
  CHECK(m.state.position[0] == 2);
}

TEST_CASE("modes of E: G91 makes it relative, M83 outlives G90") {
  Machine m;
  const auto e = [&m](const char* line) {
    m(line);
    return m.state.position[3];
  };
  CHECK(e("G1 E5") == 5);
  CHECK(e("G91 G1 E1") == 6);
  CHECK(e("G90 G1 E1") == 1);
  CHECK(e("M83") == 1);
  CHECK(e("G1 E1") == 2);
  CHECK(e("G91 G1 E1") == 3);
  CHECK(e("G90 G1 E1") == 4);
  CHECK(e("M82 G1 E1") == 1);
  CHECK(e("G91") == 1);
  CHECK(e("M82 G1 E1") == 2);  // G91 holds
}

TEST_CASE("G92 in all its forms") {
  Machine m;
  m("G1 X10 Y20 Z3 E4");
  m("G92 E0");
  CHECK(m.at() == "10 20 3 0");
  CHECK(m.state.offset == std::array<double, 4>{0, 0, 0, 4});
  m("G20 G92 X1");  // in the units that the line itself sets
  CHECK(m.at() == "25.4 20 3 0");
  CHECK(m.state.position[0] + m.state.offset[0] == Approx(10));
  m("G21");
  m("G92");  // no axis: all of them
  CHECK(m.at() == "0 0 0 0");
  CHECK(m.state.position[1] + m.state.offset[1] == 20);
  m("G92 X");       // no number: nothing
  m("G91 G92 Y5");  // absolute even so
  CHECK(m.at() == "0 5 0 0");
  m("G90 G53 G0 X1 Y2 Z3");
  CHECK(m.state.position[0] + m.state.offset[0] == Approx(1));
  CHECK(m.state.position[1] + m.state.offset[1] == Approx(2));
  m("G91 G53 G0 X1");  // machine coordinates are absolute always
  CHECK(m.state.position[0] + m.state.offset[0] == Approx(1));
  m("G92.1");
  CHECK(m.at() == "1 2 3 4");
}

TEST_CASE("homing") {
  Machine m;
  m("G1 X1 Y2 Z3 E4");
  m("G92 X9");
  m("G28 X0 Z");
  CHECK(m.at() == "0 2 0 4");
  CHECK(m.state.offset[0] == 0);
  CHECK(m.effect.homes);
  CHECK(m.effect.waits_for_moves);
  CHECK_FALSE(m.effect.moves);
  m("G28 W");
  CHECK(m.at() == "0 0 0 4");
}

TEST_CASE("feeds: modal, per minute, in the job's units") {
  Machine m;
  m("G1 X1");
  CHECK(m.effect.feed_mm_s == 25);  // common practice until the first F
  m("G1 F600");
  CHECK_FALSE(m.effect.moves);
  m("G0 X2");
  CHECK(m.effect.feed_mm_s == 10);
  m("F1200");
  m("G1 X3 F0");
  CHECK(m.effect.feed_mm_s == 20);
  m("G1 X4 F-5");
  CHECK(m.effect.feed_mm_s == 20);
  m("F0");
  m("F");
  m("G1 X5");
  CHECK(m.effect.feed_mm_s == 20);
  m("G20");
  m("F60");
  CHECK(m.state.feed_mm_s == Approx(25.4));
}

// NISTIR 6556 section 3.5.19 (seen).
TEST_CASE("inverse time: F belongs to its own line") {
  Machine m;
  m("F600");
  m("G93 G1 X30 Y40 F2");
  CHECK(50 / m.effect.feed_mm_s == Approx(30));
  m("G3 X30 Y40 I5 F60");  // a full circle in a second
  CHECK(m.effect.arc->length_mm / m.effect.feed_mm_s == Approx(1));
  m("G1 E6 F1");
  CHECK(6 / m.effect.feed_mm_s == Approx(60));
  m("G94 G1 X0");
  CHECK(m.effect.feed_mm_s == 10);
}

TEST_CASE("what brings motion to a stop") {
  struct Case {
    const char* line;
    bool stops;
  };
  const Case row = GENERATE(values<Case>({
      {"G4 P1", true},    {"G4", true},         {"G28", true},      {"G29", true},
      {"G38.2 Z1", true}, {"M109 S1", true},    {"M190 S1", true},  {"M191 S1", true},
      {"M400", true},     {"M226", true},       {"M0", true},       {"M1 wait", true},
      {"T1", true},       {"M6 T1", true},      {"M104 S1", false}, {"M140 S1", false},
      {"G92 E0", false},  {"M106 S255", false}, {"G10", false},     {"M117 G4", false},
      {"G1 X1", false},   {"M204 S500", false}, {"M0.5", false},    {"; G4 P1", false},
  }));
  INFO(row.line);
  Machine m;
  m(row.line);
  CHECK(m.effect.waits_for_moves == row.stops);
}

TEST_CASE("dwells: S before P, never less than none") {
  Machine m;
  const auto dwell = [&m](const std::string& line) {
    m(line);
    return m.effect.dwell_s;
  };
  CHECK(dwell("G4 P500 S2") == 2);
  CHECK(dwell("G4 S0.25") == 0.25);
  CHECK(dwell("G4 P-500") == 0);
  CHECK(dwell("G4 S") == 0);
  CHECK(dwell("G4 P" + std::string(300, '9')) == 0);
}

TEST_CASE("retraction by firmware") {
  Machine m;
  m("G10");
  CHECK((m.effect.retracts && !m.effect.unretracts));
  m("G11");
  CHECK((m.effect.unretracts && !m.effect.retracts));
  m("G10 P1 S200 R150");  // a tool's temperatures
  CHECK_FALSE(m.effect.retracts);
  m("G10 L2 X0");  // a coordinate system
  CHECK_FALSE(m.effect.retracts);
}

TEST_CASE("a T that is no tool number is not taken for the tool in use") {
  for (const char* line : {"M104 T99999999999999999999 S200", "M104 T1.5 S200", "M104 T-7 S200"}) {
    INFO(line);
    Machine m;
    m("T1");
    m(line);
    REQUIRE(m.effect.target_index);
    CHECK(*m.effect.target_index > 65535);
  }
}

TEST_CASE("what no machine reaches does not reach the sums") {
  Machine m;
  m("G1 X1 Y1");
  m("G1 Y2 X" + std::string(300, '9'));
  CHECK(m.at() == "1 2 0 0");
  CHECK(m.effect.trouble != nullptr);
  m("G92 X" + std::string(300, '9'));
  CHECK(m.at() == "1 2 0 0");
  m("G2 X5 R" + std::string(300, '9'));
  CHECK_FALSE(m.effect.arc);
  CHECK(m.at() == "5 2 0 0");
}

TEST_CASE("lines that are no words leave the machine as it is") {
  Machine m;
  m("G1 X1 F600");
  m("T2");
  const gcode::State before = m.state;
  for (const char* line : {"", ";G1 X9", "(T5)", "/G1 X9", "CHANGE_TO 3", "G1 X9 #", "%"}) {
    INFO(line);
    m(line);
    CHECK(m.state == before);
    CHECK(m.effect.commands == 0);
    CHECK_FALSE((m.effect.moves || m.effect.selects || m.effect.waits_for_moves));
  }
}

// 1.75 mm filament has 2.405281875 mm2 (pi/4 d^2; published filament tables, seen).
TEST_CASE("with M200 D, E words are cubic millimetres") {
  constexpr double kMm2 = 2.405281875;
  Machine m;
  m("M83");
  m("M200 D1.75");
  m("G1 X10 E2.405281875");
  CHECK(m.effect.delta[3] == Approx(1).epsilon(1e-8));
  CHECK(m.at() == "10 0 0 2.40528");  // as the job counts
  m("M82");
  m("G1 E12.405281875");
  CHECK(m.effect.delta[3] == Approx(10 / kMm2).epsilon(1e-8));
  m("G92 E100");
  m("G1 E99");
  CHECK(m.effect.delta[3] == Approx(-1 / kMm2).epsilon(1e-8));
  m("M200 T1 D2.85");  // pi/4 2.85^2 = 6.37939658, of whatever tool
  m("G1 E98");
  CHECK(m.effect.delta[3] == Approx(-1 / 6.37939658).epsilon(1e-8));
  m("M200 D0");
  m("G1 E97");
  CHECK(m.effect.delta[3] == -1);
  m("M200 D1.75");
  m("M200 S1");
  m("G1 E96.5");
  CHECK(m.effect.delta[3] == Approx(-0.5 / kMm2).epsilon(1e-8));
  m("M200 S0 D1.75");
  m("G1 E96.25");
  CHECK(m.effect.delta[3] == -0.25);
  m("M200 D1.75");
  m("M200");  // D left out
  m("G1 E96");
  CHECK(m.effect.delta[3] == -0.25);
  m("M200 D1.75");
  for (const char* no : {"M200 D-1.75", "M200 D9999999", "M2001 D3", "M200.5 D3"}) {
    INFO(no);
    m(no);
    CHECK(m.state.filament_mm2 == Approx(kMm2).epsilon(1e-8));
  }
}

TEST_CASE("with M200 D and G20, E words are cubic inches") {
  constexpr double kMm2 = 2.405281875;
  for (const auto& first : {std::vector{"G20", "M200 D1.75"}, std::vector{"M200 D1.75", "G20"}}) {
    Machine m;
    for (const char* line : first) m(line);
    m("M83");
    m("G1 E0.001");
    CHECK(m.effect.delta[3] == Approx(0.001 * 16387.064 / kMm2).epsilon(1e-8));
    m("G21");
    m("G1 E1");
    CHECK(m.effect.delta[3] == Approx(1 / kMm2).epsilon(1e-8));
    CHECK(m.state.mm_per_e == Approx(1 / kMm2).epsilon(1e-8));
  }
}
