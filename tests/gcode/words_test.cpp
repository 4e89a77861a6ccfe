#include "gcode/words.h"

#include <fmt/format.h>
#include <catch2/catch.hpp>

#include <algorithm>
#include <string>
#include <vector>

using namespace forewarm;

namespace {

// A line as one string: number, words, checksum verdict, or what kind of line it is.
std::string read(std::string_view line) {
  gcode::Words w;
  gcode::parse(line, w);
  std::string out;
  if (w.block_deleted) out += "deleted ";
  if (w.numbered) out += fmt::format("#{} ", w.number);
  switch (w.kind) {
    case gcode::LineKind::blank:
      out += "blank";
      break;
    case gcode::LineKind::named:
      out += "named " + std::string(w.name);
      break;
    case gcode::LineKind::unknown:
      out += "unknown";
      break;
    case gcode::LineKind::words:
      for (std::size_t i = 0; i < w.count; ++i) {
        if (i > 0) out += ' ';
        out += w.list[i].letter;
        if (!std::isnan(w.list[i].value)) out += fmt::format("{}", w.list[i].value);
      }
      break;
  }
  if (w.has_checksum) out += w.checksum_ok ? " sum ok" : " sum WRONG";
  return out;
}

struct Row {
  const char* line;
  const char* words;
};

}  // namespace

// NISTIR 6556 section 3.3 (seen): white space and case mean nothing outside comments.
TEST_CASE("lines of words") {
  const Row row = GENERATE(values<Row>({
      {"g0x +0. 12 34y 7", "G0 X0.1234 Y7"},  // the standard's own example
      {"g0 x+0.1234 y7", "G0 X0.1234 Y7"},
      {"G1 X10 Y-2.5 E.04 F1200", "G1 X10 Y-2.5 E0.04 F1200"},
      {"g1x10y20e.5", "G1 X10 Y20 E0.5"},
      {"\tG1\tX1", "G1 X1"},
      {"G1 X1.", "G1 X1"},
      {"G1 X-.5", "G1 X-0.5"},
      {"G1 X1E5", "G1 X1 E5"},  // E is an axis, never an exponent
      {"G1 X1 (aside) Y2 ; note", "G1 X1 Y2"},
      {"G1 X1 ; E5", "G1 X1"},
      {"G1 (open X2", "G1"},
      {"N12 G1 X1", "#12 G1 X1"},
      {"n12g1x1", "#12 G1 X1"},
      {"G28 X Y", "G28 X Y"},
      {"M84", "M84"},
      {"T3", "T3"},
      {"t3 s1 l0 d0", "T3 S1 L0 D0"},
      {"M6T3", "M6 T3"},
      {"T-1", "T-1"},
      {"M98 P\"a b.g\" S1", "M98 P S1"},
      {"M117 T1 is next; really", "M117"},
      {"M118 G1 X1", "M118"},
      {"G92.1", "G92.1"},
      {"G1 X0.1 Y0.2 Z0.30000000000000004", "G1 X0.1 Y0.2 Z0.30000000000000004"},
      {"G1 X12345678901234567890", "G1 X1.2345678901234567e+19"},
      {"N0 M110 N0", "#0 M110 N0"},
  }));
  INFO(row.line);
  CHECK(read(row.line) == row.words);
}

TEST_CASE("lines that are not words") {
  const Row row = GENERATE(values<Row>({
      {"", "blank"},
      {"   ", "blank"},
      {"; G1 X1", "blank"},
      {"(G1 X1)", "blank"},
      {"/G1 X1", "deleted blank"},
      {"/ N5 G1 X1", "deleted #5 blank"},
      {"CHANGE_TO 3", "named CHANGE_TO"},
      {"SET_FAN SPEED=0.5 ; half", "named SET_FAN"},
      {"change_tool tool=3", "named change_tool"},
      {"G1 X--1", "unknown"},
      {"G1 X+", "unknown"},
      {"G1 X1 #3=4", "unknown"},
      {"G1 X[1+2]", "unknown"},
      {"%", "unknown"},
      {"G1 X1 \xe4", "unknown"},
      {"=== level ===", "unknown"},
      {"T3_FOO", "unknown"},
      {"G1 X1 /2", "unknown"},
  }));
  INFO(row.line);
  CHECK(read(row.line) == row.words);
}

TEST_CASE("more words than any line has are left alone") {
  std::string line = "G1";
  for (int i = 0; i < 100; ++i) line += " X1";
  CHECK(read(line) == "unknown");
}

// RepRap convention, public wiki "G-code", revision of 2012 (seen).
TEST_CASE("checksums: XOR of all bytes before the star") {
  const Row row = GENERATE(values<Row>({
      {"N3 T0*57", "#3 T0 sum ok"},
      {"N4 G92 E0*67", "#4 G92 E0 sum ok"},
      {"N5 G28*22", "#5 G28 sum ok"},
      {"N6 G1 F1500.0*82", "#6 G1 F1500 sum ok"},
      {"N7 G1 X2.0 Y2.0 F3000.0*85", "#7 G1 X2 Y2 F3000 sum ok"},
      {"N8 G1 X3.0 Y3.0*33", "#8 G1 X3 Y3 sum ok"},
      {"N1 G28*18", "#1 G28 sum ok"},
      {"N2 G28*17", "#2 G28 sum ok"},
      {"N212 G92 E0.0000 *72", "#212 G92 E0 sum ok"},
      {"N3 T0*57 ; note", "#3 T0 sum ok"},
      {"N3 T0*58", "#3 T0 sum WRONG"},
      {"N3 T1*57", "#3 T1 sum WRONG"},
      {"N3 T0*", "#3 T0 sum WRONG"},
      {"N3 T0*x", "#3 T0 sum WRONG"},
  }));
  INFO(row.line);
  CHECK(read(row.line) == row.words);
}

// NISTIR 6556 section 3.3.3 (seen): a line is the same in all orders of its words.
TEST_CASE("the order of words does not matter") {
  std::vector<std::string> words{"G1", "X3", "Y4", "E5", "F600"};
  std::sort(words.begin(), words.end());
  int orders = 0;
  do {
    std::string line;
    for (const auto& w : words) line += w + " ";
    gcode::Words w;
    gcode::parse(line, w);
    CHECK((w.is('G', 1) && w.value('X') == 3 && w.value('Y') == 4 && w.value('E') == 5 &&
           w.value('F') == 600));
    ++orders;
  } while (std::next_permutation(words.begin(), words.end()));
  CHECK(orders == 120);
}
