// What base/error.h promises of what reaches a terminal.
#include "base/error.h"

#include <catch2/catch.hpp>
#include <string>
#include <vector>

using namespace forewarm;

TEST_CASE("an error shows its place, its line, a caret and a hint") {
  Error e{Error::Kind::refused, "no such tool", "job.gcode", 3, 5, "G1  T9 ; x", "add it"};
  CHECK(render(e) == "job.gcode:3:5: no such tool\n  G1  T9 ; x\n      ^\n  hint: add it");
  e.excerpt = "\tG1\tT9";
  e.column = 5;
  CHECK(render(e) == "job.gcode:3:5: no such tool\n  \tG1\tT9\n  \t  \t^\n  hint: add it");
  e = {Error::Kind::io, "cannot open", "a.gcode"};
  CHECK(render(e) == "a.gcode: cannot open");
}

TEST_CASE("a long line is cut around the caret") {
  const Error e{Error::Kind::refused,
                "here",
                "j",
                1,
                5001,
                std::string(5000, 'a') + "T9" + std::string(5000, 'b')};
  const std::string text = render(e);
  CHECK(text.size() < 400);
  CHECK(text.find("aT9b") != std::string::npos);
  const auto caret = text.find('^') - text.rfind('\n', text.find('^'));
  const auto tool = text.find("T9") - text.rfind('\n', text.find("T9"));
  CHECK(caret == tool);
}

TEST_CASE("control characters never reach a terminal") {
  CHECK(printable("a\x1b[31mb\x7f\rc\td") == "a?[31mb??c\td");
  CHECK(printable("\xc2\x9b"
                  "31m") == "??31m");
  CHECK(printable(std::string(200, 'x'), 10) == "xxxxxxxxxx...");
}

TEST_CASE("the nearest word") {
  const std::vector<std::string> known{"standby_c", "density_g_cm3", "diameter_mm"};
  CHECK(nearest("standbyc", known) == "standby_c");
  CHECK(nearest("standby_C", known) == "standby_c");
  CHECK(nearest("colour", known) == std::nullopt);
  CHECK(edit_distance("kitten", "sitting") == 3);
}

TEST_CASE("a place is shown as far as it is known") {
  Error e{Error::Kind::rules, "no"};
  CHECK(render(e) == "no");
  e.line = 7;
  CHECK(render(e) == "line 7: no");
  e.column = 2;
  e.excerpt = "abc";
  CHECK(render(e) == "line 7: no\n  abc\n   ^");
  e.file = "r.toml";
  e.column = 0;
  CHECK(render(e) == "r.toml:7: no\n  abc");
  e.line = 0;
  CHECK(render(e) == "r.toml: no");
  e.file = "bad\x1b]0;name";
  CHECK(render(e) == "bad?]0;name: no");
}

TEST_CASE("a caret at and beyond the end of its line") {
  Error e{Error::Kind::refused, "no", "j", 1, 4, "abc"};
  CHECK(render(e) == "j:1:4: no\n  abc\n     ^");
  e.column = 99;
  CHECK(render(e) == "j:1:99: no\n  abc\n     ^");
  e.column = 5000;  // far outside: no such place on the line, but no crash either
  CHECK(render(e).find("j:1:5000: no") == 0);
}

TEST_CASE("control characters in an excerpt keep their width, so that the caret stays true") {
  const Error e{Error::Kind::refused, "no", "j", 1, 6, "G1\x1b\x07 T9"};
  CHECK(render(e) == "j:1:6: no\n  G1?? T9\n       ^");
}

TEST_CASE("long lines are cut on the side that is long") {
  Error e{Error::Kind::refused, "no", "j", 1, 1, std::string(121, 'a')};
  CHECK(render(e) == "j:1:1: no\n  " + std::string(120, 'a') + "...\n  ^");
  e.excerpt = std::string(120, 'a');
  CHECK(render(e) == "j:1:1: no\n  " + std::string(120, 'a') + "\n  ^");
  e.excerpt = std::string(200, 'a');
  e.column = 200;  // 60 bytes before the caret stay
  CHECK(render(e) ==
        "j:1:200: no\n  ..." + std::string(61, 'a') + "\n  " + std::string(63, ' ') + "^");
}

TEST_CASE("the nearest word: the closer one, the first of equals, none of strangers") {
  const std::vector<std::string> known{"park_s", "pick_s", "exchange_s"};
  CHECK(nearest("prk_s", known) == "park_s");
  CHECK(nearest("pik_s", known) == "pick_s");
  CHECK(nearest("pxxk_s", known) == "park_s");
  CHECK(nearest("exchanges", known) == "exchange_s");
  CHECK(nearest("temperature", known) == std::nullopt);
  CHECK(nearest("park_s", std::vector<std::string>{}) == std::nullopt);
}

TEST_CASE("edit distances") {
  CHECK(edit_distance("", "") == 0);
  CHECK(edit_distance("", "abc") == 3);
  CHECK(edit_distance("abc", "") == 3);
  CHECK(edit_distance("abc", "abc") == 0);
  CHECK(edit_distance("abc", "acb") == 2);
  CHECK(edit_distance("flaw", "lawn") == 2);
  CHECK(edit_distance("lawn", "flaw") == 2);
}
