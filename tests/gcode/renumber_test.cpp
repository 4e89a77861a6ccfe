#include "gcode/renumber.h"

#include <catch2/catch.hpp>

using namespace forewarm;
using namespace forewarm::gcode;

namespace {

const ToolMap kMap{{0, 3}, {3, 0}, {5, 12}, {12, 5}};

// What becomes of a line after T0 was selected.
std::string after(const std::string& line, bool heaters = false) {
  Renumbering by(kMap, heaters);
  (void)by.line("T1", {});
  const auto out = by.line(line, {});
  if (!out) return "refused: " + out.error().message;
  return *out ? (*out)->text + " | " + (*out)->how : "stays";
}

}  // namespace

TEST_CASE("lines that name a tool that moves") {
  struct Case {
    const char *line, *becomes;
  };
  for (const Case& c : {
           Case{"T0", "T3 | T0 to T3"},
           Case{"t3", "t0 | T3 to T0"},
           Case{"  T 0 ; take granite T0", "  T 3 ; take granite T0 | T0 to T3"},
           Case{"T12 (T0 before)", "T5 (T0 before) | T12 to T5"},
           Case{"T0012", "T5 | T12 to T5"},
           Case{"M6 T0", "M6 T3 | T0 to T3"},
           Case{"T0 M6", "T3 M6 | T0 to T3"},
           Case{"M104 T0 S200", "M104 T3 S200 | T0 to T3"},
           Case{"M104 S200 T5", "M104 S200 T12 | T5 to T12"},
           Case{"m109t0s200", "m109t3s200 | T0 to T3"},
           Case{"M105 T0", "M105 T3 | T0 to T3"},
           Case{"M200 T0 D1.75", "M200 T3 D1.75 | T0 to T3"},
           Case{"M221 S95 T3", "M221 S95 T0 | T3 to T0"},
           Case{"M600 T0", "M600 T3 | T0 to T3"},
           Case{"M701 T0", "M701 T3 | T0 to T3"},
           Case{"M702 T0", "M702 T3 | T0 to T3"},
           Case{"M900 K0.04 T0", "M900 K0.04 T3 | T0 to T3"},
           Case{"M116 P0", "M116 P3 | T0 to T3"},
           Case{"M568 P0 S200 R170", "M568 P3 S200 R170 | T0 to T3"},
           Case{"G10 P3 S200 R170", "G10 P0 S200 R170 | T3 to T0"},
           // 61 is the XOR of the bytes of N7 T0, 62 of N7 T3.
           Case{"N7 T0*61", "N7 T3*62 | T0 to T3"},
           Case{"N7 T0*61 ; x", "N7 T3*62 ; x | T0 to T3"},
       }) {
    CAPTURE(c.line);
    CHECK(after(c.line) == c.becomes);
  }
}

TEST_CASE("lines that stay, or cannot be said with other numbers") {
  for (const char* line : {"",
                           "; T0",
                           "(T0) G1 X1",
                           "T1",
                           "T-1",
                           "T",
                           "T0.5",
                           "T70000",
                           "G1 X0 Y3",
                           "M104 S200",
                           "M104 T1 S200",
                           "M106 P0 S255",
                           "M204 P3000 T0",
                           "M205 T0",
                           "M218 T0 X20",
                           "M301 E0 P20",
                           "G10 P0 X20 Y3",
                           "G10",
                           "G10 L2 P3 X0",
                           "M117 T0",
                           "M104_T0",
                           "TOOL 0",
                           "/T0",
                           "M141 T0",
                           "M563 P0 D0"}) {
    CAPTURE(line);
    CHECK(after(line) == "stays");
  }
  CHECK(after("M104 T0 S200", true) == "stays");  // there it names a heater
  CHECK(after("T0", true) == "T3 | T0 to T3");
  CHECK(after("G10 P0 S200 X5") ==
        "refused: G10 sets a toolhead's offset and a filament's temperature on one line");
}

TEST_CASE("a temperature before any select is for T0") {
  Renumbering moves(kMap, false);
  CHECK_FALSE(moves.line("M104 S200", {}));
  Renumbering stays({{1, 2}, {2, 1}}, false);
  CHECK(stays.line("M104 S200", {}));
  CHECK(stays.seen() == std::set<int>{0});
}

TEST_CASE("what the rule file finds is renumbered, too") {
  Renumbering by(kMap, false);
  const std::vector<Named> own{{10, 1, 0}};
  const auto out = by.line("CHANGE_TO 0 ; T0", own);
  REQUIRE(out);
  REQUIRE(*out);
  CHECK((*out)->text == "CHANGE_TO 3 ; T0");
  const std::vector<Named> twice{{1, 1, 0}};
  const auto select = by.line("T0", twice);  // found both ways
  REQUIRE(select);
  CHECK((*select)->text == "T3");
}

TEST_CASE("tools that would share a number") {
  CHECK_FALSE(crowded(kMap, {0, 1, 2, 3, 5, 12}));
  CHECK_FALSE(crowded({{0, 3}}, {0, 1}));
  CHECK(crowded({{0, 3}}, {0, 3}) == 3);
  CHECK(crowded({{0, 3}, {1, 3}}, {}) == 3);
}
