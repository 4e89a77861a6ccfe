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

TEST_CASE("a text is never cut within a character") {
  const std::string euro = "\xe2\x82\xac", clef = "\xf0\x9d\x84\x9e";
  for (const std::size_t limit : {3, 4, 5}) CHECK(printable(euro + euro, limit) == euro + "...");
  for (const std::size_t limit : {1, 2, 3, 4}) CHECK(printable("a" + clef, limit) == "a...");
  CHECK(printable("a" + clef, 5) == "a" + clef);
  CHECK(printable(euro, 0) == "...");
  CHECK(printable(euro, 2) == "...");
  // What is no character has no end to wait for.
  CHECK(printable("\xe2\x82\x82\x82x", 4) == euro.substr(0, 2) + "\x82\xef\xbf\xbd...");
  CHECK(printable("\x82\x82\x82", 2) == "\xef\xbf\xbd\xef\xbf\xbd...");
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

TEST_CASE("the caret stands under its character, however many bytes stand before it") {
  // Columns count characters: T is the 8th.
  Error e{Error::Kind::refused, "no", "j", 1, 8, "; gr\xc3\xbc\xc3\x9f T9"};
  CHECK(render(e) == "j:1:8: no\n  ; gr\xc3\xbc\xc3\x9f T9\n         ^");
  e.excerpt = "\t\xe2\x82\xac\t\xf0\x9f\x8c\xb2 T9";
  e.column = 6;
  CHECK(render(e) == "j:1:6: no\n  \t\xe2\x82\xac\t\xf0\x9f\x8c\xb2 T9\n  \t \t  ^");
  // Bytes that are no UTF-8 are a character each, and shown as one.
  e.excerpt = "\xe9\xff T9";
  e.column = 4;
  CHECK(render(e) == "j:1:4: no\n  \xef\xbf\xbd\xef\xbf\xbd T9\n     ^");
  // A C1 control is one character, and shown as two marks.
  e.excerpt = "\xc2\x9b T9";
  e.column = 3;
  CHECK(render(e) == "j:1:3: no\n  ?? T9\n     ^");
}

TEST_CASE("a long line is cut between characters") {
  std::string line;
  for (int i = 0; i < 300; ++i) line += "\xc3\xa4";
  const Error e{Error::Kind::refused, "no", "j", 1, 201, line + "T9"};
  const std::string text = render(e);
  CHECK(text.find("\xef\xbf\xbd") == std::string::npos);
  CHECK(text.substr(text.rfind('\n')) == "\n  " + std::string(63, ' ') + "^");
}

TEST_CASE("characters") {
  CHECK(characters("") == 0);
  CHECK(characters("a\tb") == 3);
  CHECK(characters("\xc3\xa9t\xc3\xa9 \xe2\x82\xac \xf0\x9f\x8c\xb2") == 7);
  CHECK(characters("\xe2\x82") == 2);              // cut short
  CHECK(characters("\xc0\xaf\xed\xa0\x80") == 5);  // overlong, surrogate
  CHECK(characters("\xf4\x90\x80\x80\x80") == 5);  // beyond U+10FFFF, and alone
}

TEST_CASE("what a terminal might take for a control never reaches it") {
  const std::string replaced = "\xef\xbf\xbd";
  CHECK(printable("a\x9b\x33\x31mb") == "a" + replaced + "31mb");  // CSI as one byte
  CHECK(printable("\xc2\x80|\xc2\x9f|\xc2\xa0") == "??|??|\xc2\xa0");
  CHECK(printable("\xc2") == replaced);
  CHECK(printable("\xc0\x9b|\xe0\x80\x9b") ==
        replaced + replaced + "|" + replaced + replaced + replaced);
  // Neither by what was said of it, nor by a hint; several lines are several lines.
  const Error e{Error::Kind::usage, "no \x1b[2J\xc2\x9b\r\nsecond", "", 0, 0, "",
                "try\x07\x9b\nhere"};
  CHECK(render(e) == "no ?[2J???\nsecond\n  hint: try?" + replaced + "\nhere");
}

TEST_CASE("no control character gets through, whatever the bytes") {
  std::string all;
  for (int lead = 0; lead < 256; ++lead) {
    for (int next = 0; next < 256; ++next) all += {char(lead), char(next)};
  }
  Error e{Error::Kind::refused, all, "", 0, 0, "", all};
  for (const std::string& text : {printable(all, all.size()), render(e)}) {
    for (std::size_t i = 0; i < text.size(); ++i) {
      const auto c = static_cast<unsigned char>(text[i]);
      const bool bad = (c < 0x20 && c != '\t' && c != '\n') || c == 0x7f ||
                       (c == 0xc2 && static_cast<unsigned char>(text[i + 1]) < 0xa0);
      if (bad) FAIL("byte " << int(c) << " at " << i);
    }
    CHECK(characters(text) < text.size());
  }
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
