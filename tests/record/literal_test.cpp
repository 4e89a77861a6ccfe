#include "record/literal.h"

#include <re2/re2.h>
#include <catch2/catch.hpp>

#include "help/dice.h"

using namespace forewarm;
using namespace forewarm::record;

TEST_CASE("literal: what every match must have") {
  struct Case {
    const char *pattern, *literal;
  };
  for (const Case& c :
       {Case{"paused by user", "paused by user"}, Case{"^// pause", "// pause"},
        Case{R"(nozzle (?P<temp>\d+) of)", "nozzle "}, Case{R"(a\[b\]c)", "a[b]c"},
        Case{"abcd?efg", "abc"}, Case{"abc+defg", "defg"}, Case{"abc|def", ""}, Case{"(?i)abc", ""},
        Case{"(abc|x) def", " def"}, Case{"x*yz", ""}, Case{R"(\x41bcd)", ""},
        Case{"[abc]def", "def"}, Case{"[]a]xyz", "xyz"}, Case{"ab{0}cde", "cde"},
        Case{"a.bcd", "bcd"}, Case{R"(\Qa.b\E)", ""}, Case{"", ""}, Case{"(?s:abc)def", ""}}) {
    CAPTURE(c.pattern);
    CHECK(needed_literal(c.pattern) == c.literal);
  }
}

TEST_CASE("literal: a pattern made at random never fits a text without it") {
  const std::vector<std::string> pieces{"ab", "c",   "d+",      "e?",     "(fg)",  "[hi]",
                                        "j*", ".",   R"(\d)",   "k{0,2}", R"(\.)", "(l|m)",
                                        "no", "pqr", "(?:st)?", "|"};
  const std::string letters = "abcdefghijklmnopqrst.0";
  int fits = 0, certain = 0;
  for (unsigned seed = 0; seed < 3000; ++seed) {
    test::Dice dice(seed);
    std::string pattern;
    for (int i = dice.of(6); i >= 0; --i)
      pattern += pieces[std::size_t(dice.of(int(pieces.size())))];
    const std::string literal = needed_literal(pattern);
    const RE2 re(pattern, RE2::Quiet);
    if (!re.ok() || literal.empty()) continue;
    ++certain;
    // Texts that have its letters in about its order.
    for (int k = 0; k < 40; ++k) {
      std::string text;
      for (const char c : pattern) {
        if (letters.find(c) != std::string::npos && dice.chance(0.9)) text += c;
        if (dice.chance(0.05)) text += letters[std::size_t(dice.of(int(letters.size())))];
      }
      if (!RE2::PartialMatch(text, re)) continue;
      ++fits;
      CAPTURE(pattern, text, literal);
      REQUIRE(text.find(literal) != std::string::npos);
    }
  }
  CHECK(certain > 200);
  CHECK(fits > 1000);
}

TEST_CASE("literal: found where it stands, wherever memory ends") {
  std::string text;
  test::Dice dice(5);
  for (int i = 0; i < 400; ++i) {
    text +=
        std::string(std::size_t(dice.of(30)), 'x') + (dice.chance(0.3) ? "word" : "wor") + "d\n";
  }
  for (const std::size_t chunk : {1U, 7U, 64U, 5000U}) {
    TextSource source(text);
    Lines lines(source, "x", chunk);
    Finder finder("word");
    for (Line line;;) {
      const auto more = lines.next(line);
      REQUIRE(more);
      if (!*more) break;
      if (dice.chance(0.2)) continue;  // not every line need be asked about
      CHECK(finder.in(line, lines) == line.text.find("word"));
    }
  }
}
