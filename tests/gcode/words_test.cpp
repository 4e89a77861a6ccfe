// What gcode/words.h promises, line by line: accepted, odd and malformed lines each as one string.
#include "gcode/words.h"

#include <fmt/format.h>
#include <catch2/catch.hpp>

#include <algorithm>
#include <cstdlib>
#include <string>
#include <vector>

#include "gcode/state.h"

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

// The same order independence through the state: all 120 orders end at the same place.
TEST_CASE("the order of words does not matter to the machine") {
  std::vector<std::string> words{"G91", "G1", "X3", "E5", "F600"};
  std::sort(words.begin(), words.end());
  gcode::State expected;
  expected.relative = expected.e_relative_linked = true;
  expected.position = {3, 0, 0, 5};
  expected.motion = 1;
  expected.feed_mm_s = 10;
  int orders = 0;
  do {
    std::string line;
    for (const auto& word : words) line += word;
    INFO(line);
    gcode::Words w;
    gcode::parse(line, w);
    gcode::State state;
    gcode::Effect effect;
    gcode::apply(w, state, effect);
    CHECK(state == expected);
    CHECK(effect.moves);
    ++orders;
  } while (std::next_permutation(words.begin(), words.end()));
  CHECK(orders == 120);
}

// NISTIR 6556 section 3.3.2.1 (seen): optional sign, digits, optional point, digits, no exponent.
TEST_CASE("numbers are read exactly") {
  const Row row = GENERATE(values<Row>({
      {"X0", "X0"},
      {"X-0", "X-0"},
      {"X+5", "X5"},
      {"X007", "X7"},
      {"X5.", "X5"},
      {"X.5", "X0.5"},
      {"X-.5", "X-0.5"},
      {"X- 5", "X-5"},
      {"X + . 5", "X0.5"},
      {"X1 2 . 3 4", "X12.34"},
      {"X 1\t0", "X10"},
      {"X1.5 Y2", "X1.5 Y2"},
      {"X0.1", "X0.1"},
      {"X0.000001", "X1e-06"},
      {"X9007199254740991", "X9007199254740991"},  // the largest odd whole double, and beyond
      {"X9007199254740993", "X9007199254740992"},
      {"X0.9007199254740993", "X0.9007199254740993"},
      {"X179.76931348623157", "X179.76931348623157"},
      {"X123456.7890123456789", "X123456.78901234567"},
      {"X0000000000000000000000001.5", "X1.5"},
      {"X1.50000000000000000000000", "X1.5"},
      {"X.00000000000000000000000000001", "X1e-29"},
      {"X-123456789012345678901", "X-1.2345678901234568e+20"},
      {"X1e3", "X1 E3"},
      {"X1E-2", "X1 E-2"},
      {"X0x10", "X0 X10"},
  }));
  INFO(row.line);
  CHECK(read(row.line) == row.words);
}

// The same numbers through the C library, which rounds correctly.
TEST_CASE("numbers as the C library reads them") {
  std::uint64_t seed = 1;
  const auto random = [&seed](std::uint64_t below) {
    seed = seed * 6364136223846793005U + 1442695040888963407U;
    return (seed >> 33U) % below;
  };
  gcode::Words w;
  for (int i = 0; i < 20'000; ++i) {
    std::string text = random(3) == 0 ? "-" : "";
    for (std::uint64_t n = 1 + random(20); n > 0; --n) text += char('0' + random(10));
    text += '.';
    for (std::uint64_t n = random(20); n > 0; --n) text += char('0' + random(10));
    gcode::parse("X" + text, w);
    INFO(text);
    REQUIRE(w.given('X'));
    REQUIRE(w.value('X') == std::strtod(text.c_str(), nullptr));
  }
}

TEST_CASE("odd lines that are still words") {
  const Row row = GENERATE(values<Row>({
      {"  g1\tx1\ty2  ", "G1 X1 Y2"},
      {"G1 X1\r", "G1 X1"},  // a CR before no LF
      {"G1\rX1", "G1 X1"},
      {"(a)G1(b)X1(c)", "G1 X1"},
      {"G1 (a (b) X1", "G1 X1"},  // they do not nest
      {"G1 (; still a comment) X1", "G1 X1"},
      {"G1 ; (open X1", "G1"},
      {"G1;", "G1"},
      {"M98 P\"open X1", "M98 P"},
      {"M98 P\"; G1 (\" S1", "M98 P S1"},
      {"N5", "#5 "},
      {"N-1 M110", "#-1 M110"},
      {"N 5 G1", "#5 G1"},
      {"N99999 G1", "#99999 G1"},
      {"N5 N6 G1", "#5 N6 G1"},
      {"G1 N5", "G1 N5"},
      {"M", "M"},
      {"G X1", "G X1"},
      {"T", "T"},
      {"M84 X Y E", "M84 X Y E"},
      {"M117", "M117"},
      {"M117Tx", "M117"},
      {"M117 5 of 9", "M117"},  // text, not M1175
      {"M117 0% T1", "M117"},
      {"m 117 5", "M117"},
      {"M1 17", "M1"},
      {"N7 M117 3", "#7 M117"},
      {"M10 4 S200", "M104 S200"},  // no text: the standard reads on
      {"M117 it's [50%] #1", "M117"},
      {"M0 Take it off", "M0"},
      {"M23 job.gco", "M23"},
      {"M486 S1", "M486"},
      {"M1170 S1", "M1170 S1"},
      {"M117.5 S1", "M117.5 S1"},
      {"M99999999999999999999 S1", "M1e+20 S1"},
      {"G1 M117 S1", "G1 M117 S1"},  // text only where it leads its line
  }));
  INFO(row.line);
  CHECK(read(row.line) == row.words);
}

TEST_CASE("malformed lines are nothing at all") {
  static const std::string huge = "G1 X" + std::string(400, '9');
  const char* line = GENERATE_COPY(values<const char*>(
      {"G1 X-",     "G1 X.",     "G1 X-.",    "G1 X+-1",      "G1 X1..2",
       "G1 X1.2.3", "G1 X1-2",   "G1 X1,2",   "12 G1",        "-5",
       ".5",        "= 1",       "G1 X=1",    "G1 X(aside)1", "G1 X1 @",
       "G1 X#1",    "[X1]",      "{G1}",      "$H",           "!",
       "~",         "\\",        "G1 \"X1\"", "G1 X1\x01",    "G1 X1 // not a comment",
       "N5 /G1 X1", huge.c_str()}));
  INFO(line);
  gcode::Words w;
  gcode::parse(line, w);
  CHECK(w.kind == gcode::LineKind::unknown);
  CHECK(w.count == 0);
  CHECK(w.mask == 0);  // nothing of it may be taken for a word
  CHECK_FALSE(w.is('G', 1));
}

TEST_CASE("extended commands") {
  const Row row = GENERATE(values<Row>({
      {"CHANGE_TO 3", "named CHANGE_TO"},
      {"change_to 3", "named change_to"},
      {"N5 CHANGE_TO 3", "#5 named CHANGE_TO"},
      {"G_CODE", "named G_CODE"},
      {"T_1", "named T_1"},
      {"Tx", "named Tx"},
      {"AB;CD", "named AB"},
      {"M6T T3", "M6 T T3"},
      {"/CHANGE_TO 3", "deleted blank"},
      {"/ G1 X#", "deleted blank"},
      {"//G1", "deleted blank"},
      {"_X 3", "unknown"},
  }));
  INFO(row.line);
  CHECK(read(row.line) == row.words);
}

TEST_CASE("the code of a line ends at its comment or checksum") {
  const Row row = GENERATE(values<Row>({
      {"G1 X1 ; note", "G1 X1 "},
      {"G1 X1", "G1 X1"},
      {"N3 T0*57 ; note", "N3 T0"},
      {"CHANGE_TO 3 ; now", "CHANGE_TO 3 "},
      {"N5 CHANGE_TO 3*21", "N5 CHANGE_TO 3"},
      {"CHANGE_TO 3*21", "CHANGE_TO 3*21"},  // without a number nothing is checked
      {"M117 2*3 ; done", "M117 2*3 "},
      {"; only", ""},
  }));
  INFO(row.line);
  gcode::Words w;
  gcode::parse(row.line, w);
  CHECK(w.code == row.words);
}

TEST_CASE("checksums of lines that are text: the last star counts") {
  const auto with_checksum = [](const std::string& line) {
    return line + "*" + std::to_string(gcode::checksum(line));
  };
  CHECK(read(with_checksum("N5 M117 2*3 left")) == "#5 M117 sum ok");
  CHECK(read(with_checksum("N5 CHANGE_TO 3")) == "#5 named CHANGE_TO sum ok");
  CHECK(read(with_checksum("N5 CHANGE_TO 3") + "0") == "#5 named CHANGE_TO sum WRONG");
  CHECK(read("N5 G28* 22") == "#5 G28 sum ok");
  CHECK(read("N5 G28*99999999999999999999") == "#5 G28 sum WRONG");
  CHECK(gcode::checksum("") == 0);
  CHECK(gcode::checksum("\xff\x0f") == 0xf0);
}

TEST_CASE("a Words object can be used again") {
  gcode::Words w;
  gcode::parse("N3 T0*58", w);
  gcode::parse("TOOL 3", w);
  gcode::parse("G1 Y2", w);
  CHECK_FALSE(w.numbered);
  CHECK_FALSE(w.has_checksum);
  CHECK(w.checksum_ok);
  CHECK(w.name.empty());
  CHECK_FALSE(w.has('T'));
  CHECK(w.count == 2);
}

TEST_CASE("any bytes at all are read without harm") {
  std::uint64_t seed = 7;
  const std::string_view likely = "GMTNXYEFSR0123456789.-+ *;()\"/ \t\r_";
  gcode::Words w;
  gcode::State state;
  gcode::Effect effect;
  for (int i = 0; i < 200'000; ++i) {
    std::string line;
    for (std::uint64_t n = (seed >> 40U) % 24; n > 0; --n) {
      seed = seed * 6364136223846793005U + 1442695040888963407U;
      const std::uint64_t r = seed >> 33U;
      line += r % 16 == 0 ? char(r >> 8U) : likely[(r >> 4U) % likely.size()];
    }
    seed = seed * 6364136223846793005U + 1442695040888963407U;
    gcode::parse(line, w);
    gcode::apply(w, state, effect);
    for (std::size_t a = 0; a < 4; ++a) {
      if (!(std::abs(state.position[a]) <= 1e9)) FAIL(line);
    }
  }
  SUCCEED("every position stayed within reach");
}
