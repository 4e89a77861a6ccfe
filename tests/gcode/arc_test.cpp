// What gcode/arc.h promises, against the standard's own example and against chords so short that
// they need no geometry of arcs.
#include "gcode/arc.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

#include "gcode/state.h"

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
};

constexpr double kDegree = std::numbers::pi / 180;

// Walks round a centre in tiny chords, in the asked direction, until the end is met; the length of
// the way, rising evenly. Knows of no angles but those of its own steps.
double walked(double end_a, double end_b, double rise, double centre_a, double centre_b,
              bool clockwise) {
  constexpr int kSteps = 400'000;
  const double turn = (clockwise ? -1 : 1) * 2 * std::numbers::pi / kSteps;
  const double c = std::cos(turn);
  const double s = std::sin(turn);
  double a = -centre_a;
  double b = -centre_b;
  const double to_a = end_a - centre_a;
  const double to_b = end_b - centre_b;
  const double chord = 2 * std::hypot(a, b) * std::sin(std::abs(turn) / 2);
  double way = 0;
  for (int i = 0; i < kSteps; ++i) {
    const double next_a = a * c - b * s;
    const double next_b = a * s + b * c;
    a = next_a;
    b = next_b;
    way += chord;
    if (i > 10 && std::hypot(a - to_a, b - to_b) <= chord) break;
  }
  return std::hypot(way, rise);
}

}  // namespace

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

TEST_CASE("arcs of all directions against tiny chords") {
  for (const bool clockwise : {true, false}) {
    for (int from = 0; from < 360; from += 36) {
      for (int turn = 7; turn < 360; turn += 39) {
        const double radius = 3 + turn / 50.0;
        const double start = from * kDegree;
        const double end = (clockwise ? from - turn : from + turn) * kDegree;
        const double i = -radius * std::cos(start);
        const double j = -radius * std::sin(start);
        const double a = i + radius * std::cos(end);
        const double b = j + radius * std::sin(end);
        const auto by_centre = gcode::arc_by_centre(a, b, 2, i, j, clockwise);
        INFO((clockwise ? "clockwise " : "counter-clockwise ") << turn << " from " << from);
        CHECK(by_centre.length_mm == Approx(walked(a, b, 2, i, j, clockwise)).epsilon(1e-4));
        CHECK(by_centre.radius_gap_mm == Approx(0).margin(1e-9));
        CHECK(by_centre.sweep == Approx((clockwise ? -turn : turn) * kDegree));
        const auto by_radius =
            gcode::arc_by_radius(a, b, 2, turn > 180 ? -radius : radius, clockwise);
        REQUIRE(by_radius);
        CHECK(by_radius->centre_a == Approx(i).margin(1e-9));
        CHECK(by_radius->centre_b == Approx(j).margin(1e-9));
        CHECK(by_radius->length_mm == Approx(by_centre.length_mm));
      }
    }
  }
}

TEST_CASE("a start equal to the end is a full circle, also where sums are rounded") {
  CHECK(gcode::arc_by_centre(0, 0, 0, 3, 4, true).sweep == Approx(-360 * kDegree));
  CHECK(gcode::arc_by_centre(1e-15, -1e-15, 0, 3, 4, true).sweep == Approx(-360 * kDegree));
  CHECK(gcode::arc_by_centre(-1e-15, 1e-15, 0, 3, 4, true).sweep == Approx(-360 * kDegree));
  CHECK(gcode::arc_by_centre(1e-15, -1e-15, 0, 3, 4, false).sweep == Approx(360 * kDegree));
  CHECK(gcode::arc_by_centre(-1e-15, 1e-15, 0, 3, 4, false).sweep == Approx(360 * kDegree));
  // Small but meant: a thousandth of a millimetre.
  CHECK(gcode::arc_by_centre(0, 0.001, 0, -5, 0, false).sweep == Approx(0.0002).epsilon(1e-3));
}

// NISTIR 6556 section 3.5.3 (seen): radii at start and end may differ by 0.002 mm.
TEST_CASE("how far the radii of the two ends differ is told") {
  CHECK(gcode::arc_by_centre(10, 10.002, 0, 10, 0, true).radius_gap_mm == Approx(0.002));
  CHECK(gcode::arc_by_radius(20.002, 0, 0, 10, true).has_value());
  CHECK_FALSE(gcode::arc_by_radius(20.003, 0, 0, 10, true).has_value());
  CHECK_FALSE(gcode::arc_by_radius(0, 0, 0, 10, true).has_value());
  CHECK_FALSE(gcode::arc_by_radius(0.001, 0, 0, 0, true).has_value());
}

// Seen from the positive end of the third axis: Z to X in G18, Y to Z in G19.
TEST_CASE("quarter turns in every plane") {
  struct Row {
    const char* plane;
    const char* arc;
    double sweep;
  };
  const Row row = GENERATE(values<Row>({
      {"G17", "G3 X-10 Y10 I-10", 90},
      {"G17", "G2 X-10 Y10 I-10", -270},
      {"G18", "G3 Z-10 X10 K-10", 90},
      {"G18", "G2 Z-10 X10 K-10", -270},
      {"G19", "G3 Y-10 Z10 J-10", 90},
      {"G19", "G2 Y-10 Z10 J-10", -270},
      {"G18", "G3 Z-10 X10 R10", 90},
      {"G19", "G2 Y-10 Z10 R-10", -270},
  }));
  INFO(row.plane << ' ' << row.arc);
  Machine m;
  m(row.plane);
  m(row.arc);
  REQUIRE(m.effect.arc);
  CHECK(m.effect.arc->sweep / kDegree == Approx(row.sweep));
  CHECK(m.effect.arc->radius_mm == Approx(10));
  CHECK(m.effect.trouble == nullptr);
}

TEST_CASE("an arc in inches and in relative mode is the same arc") {
  Machine m;
  m("G20 G91");
  m("G3 X-1 Y1 I-1");
  REQUIRE(m.effect.arc);
  CHECK(m.effect.arc->radius_mm == Approx(25.4));
  CHECK(m.effect.arc->sweep / kDegree == Approx(90));
  CHECK(m.state.position[0] == Approx(-25.4));
}

TEST_CASE("an arc that is none is told, and ends where it says") {
  for (const char* line : {"G2 X5 Y5", "G2 X5 R1", "G2 R5", "G2 X5 I0 J0", "G2 X5 K3"}) {
    INFO(line);
    Machine m;
    m(line);
    CHECK_FALSE(m.effect.arc);
    CHECK(m.effect.trouble != nullptr);
  }
  Machine m;
  m("G2 X5 R1");
  CHECK(m.state.position[0] == 5);
}
