#include "code_line.h"

#include <catch2/catch.hpp>

using namespace simulated;

TEST_CASE("a line is a command with its words") {
  const CodeLine move = read_line("G1 X10.5 Y-3 E.25 F1200 ; a wall");
  CHECK(move.is('G', 1));
  CHECK(move.value('X') == 10.5);
  CHECK(move.value('Y') == -3);
  CHECK(move.value('E') == 0.25);
  CHECK(move.value('F', 7.0) == 1200);
  CHECK(move.value('Z', 7.0) == 7);
  CHECK_FALSE(move.value('Z'));
  CHECK(read_line("T3").is('T', 3));
  CHECK(read_line("G28 X Y").value('X') == 0);
}

TEST_CASE("case and spaces mean nothing") {
  // NIST RS274/NGC, section 3.3.1: `g0x +0. 12 34y 7` is `g0 x+0.1234 y7`.
  const CodeLine line = read_line("g0x +0. 12 34y 7");
  CHECK(line.is('G', 0));
  CHECK(line.value('X') == 0.1234);
  CHECK(line.value('Y') == 7);
}

TEST_CASE("line numbers and checksums are left out") {
  // The RepRap convention's own examples.
  const CodeLine line = read_line("N7 G1 X2.0 Y2.0 F3000.0*85");
  CHECK(line.is('G', 1));
  CHECK(line.value('F') == 3000);
  CHECK(read_line("N3 T0*57 ; note").is('T', 0));
  CHECK(read_line("N212 G92 E0.0000 *72").value('E') == 0);
}

TEST_CASE("what is no command is none") {
  for (const char* text :
       {"", "   ", "; G1 X5", "(G1 X5)", "N5", "CHANGE_TO 3", "G", "X10 Y5", "M9999999"}) {
    CAPTURE(text);
    CHECK(read_line(text).letter == 0);
  }
  CHECK_FALSE(read_line("G92.1 X0").is('G', 92));
}

TEST_CASE("the text of an echo is kept") {
  CHECK(read_line("M118 forewarm 12 leave ;fw+ echo").text == "forewarm 12 leave");
  CHECK(read_line("M118 a * b").text == "a * b");
}
