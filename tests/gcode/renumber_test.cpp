#include "gcode/renumber.h"

#include <catch2/catch.hpp>

using namespace forewarm;
using namespace forewarm::gcode;

namespace {

const ToolMap kMap{{0, 3}, {3, 0}, {5, 12}, {12, 5}};

// A line with the tools moved that it names, and 10 more for a heater; as it is if it names none.
std::string with_others(const std::string& line, bool heaters = false) {
  Words words;
  parse(line, words);
  const auto names = numbers_named(line, words, heaters);
  std::vector<int> to;
  for (const Named& n : names) {
    to.push_back(n.kind == Named::Kind::tool ? mapped(kMap, n.number) : n.number + 10);
  }
  const auto out = with_numbers(line, words, names, to);
  return out ? *out : "refused: " + out.error().message;
}

}  // namespace

TEST_CASE("lines that name a tool that moves") {
  struct Case {
    const char *line, *becomes;
  };
  for (const Case& c : {
           Case{"T0", "T3"},
           Case{"t3", "t0"},
           Case{"  T 0 ; take granite T0", "  T 3 ; take granite T0"},
           Case{"T12 (T0 before)", "T5 (T0 before)"},
           Case{"T0012", "T5"},
           Case{"M6 T0", "M6 T3"},
           Case{"T0 M6", "T3 M6"},
           Case{"M104 T0 S200", "M104 T3 S200"},
           Case{"M104 S200 T5", "M104 S200 T12"},
           Case{"m109t0s200", "m109t3s200"},
           Case{"M105 T0", "M105 T3"},
           Case{"M200 T0 D1.75", "M200 T3 D1.75"},
           Case{"M221 S95 T3", "M221 S95 T0"},
           Case{"M600 T0", "M600 T3"},
           Case{"M701 T0", "M701 T3"},
           Case{"M702 T0", "M702 T3"},
           Case{"M900 K0.04 T0", "M900 K0.04 T3"},
           Case{"M116 P0", "M116 P3"},
           Case{"M568 P0 S200 R170", "M568 P3 S200 R170"},
           Case{"G10 P3 S200 R170", "G10 P0 S200 R170"},
           // 61 is the XOR of the bytes of N7 T0, 62 of N7 T3.
           Case{"N7 T0*61", "N7 T3*62"},
           Case{"N7 T0*61 ; x", "N7 T3*62 ; x"},
       }) {
    CAPTURE(c.line);
    CHECK(with_others(c.line) == c.becomes);
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
    CHECK(with_others(line) == line);
  }
  CHECK(with_others("G10 P0 S200 X5") ==
        "refused: G10 sets a toolhead's offset and a filament's temperature on one line");
  CHECK(with_others("T0 M104 T5 T0.5") == "T0 M104 T5 T0.5");
}

TEST_CASE("temperatures of heaters") {
  CHECK(with_others("M104 T0 S200", true) == "M104 T10 S200");
  CHECK(with_others("m109 s200 t2 ; T1", true) == "m109 s200 t12 ; T1");
  // 36 is the XOR of the bytes of N7 M104 T0 S200, 21 that of the other.
  CHECK(with_others("N7 M104 T0 S200*36", true) == "N7 M104 T10 S200*21");
  CHECK(with_others("T0", true) == "T3");
  CHECK(with_others("M105 T0", true) == "M105 T3");
  CHECK(with_others("M104 S200", true) == "M104 S200");
}

TEST_CASE("numbers that the rule file finds") {
  const auto with = [](const std::string& line, const std::vector<Named>& names,
                       const std::vector<int>& to) {
    Words words;
    parse(line, words);
    const auto out = with_numbers(line, words, names, to);
    return out ? *out : "refused: " + out.error().message;
  };
  CHECK(with("CHANGE_TO 0 ; T0", {{10, 1, 0}}, {3}) == "CHANGE_TO 3 ; T0");
  CHECK(with("HEAT 1 AT 205 FOR 2", {{5, 1, 1, Named::Kind::heater}, {18, 1, 2}}, {12, 0}) ==
        "HEAT 12 AT 205 FOR 0");
  // One within the other.
  CHECK(with("CHANGE_TO 12", {{10, 2, 12}, {11, 1, 2}}, {3, 4}) ==
        "refused: the tool's number cannot be told from the rest of the line");
}

TEST_CASE("lines with a number, and a map as text") {
  // 125 is the XOR of the bytes of N8 M110 N8.
  CHECK(numbered_line(8, "M110 N8") == "N8 M110 N8*125");
  CHECK(count_set_back(8) == "N8 M110 N8*125");
  CHECK(text_of({{0, 3}, {3, 0}, {12, 5}}) == "T0 to T3, T3 to T0, T12 to T5");
  CHECK(text_of({}) == "");
}
