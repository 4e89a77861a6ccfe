// The known word that an unknown one is a slip for.
#include "rules/words.h"

#include <catch2/catch.hpp>
#include <string>
#include <vector>

using namespace forewarm::rules;

TEST_CASE("the nearest word") {
  const std::vector<std::string> known{"standby_c", "density_g_cm3", "diameter_mm"};
  CHECK(nearest("standbyc", known) == "standby_c");
  CHECK(nearest("standby_C", known) == "standby_c");
  CHECK(nearest("colour", known) == std::nullopt);
  CHECK(edit_distance("kitten", "sitting") == 3);
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
  CHECK(edit_distance("abc", "acb") == 1);
  CHECK(edit_distance("ab", "ba") == 1);
  CHECK(edit_distance("abcd", "badc") == 2);
  CHECK(edit_distance("abc", "ca") == 3);  // a swap with an insertion in it is no swap
  CHECK(edit_distance("flaw", "lawn") == 2);
  CHECK(edit_distance("lawn", "flaw") == 2);
}

TEST_CASE("a hint names the word that was meant, or all there are") {
  const std::vector<std::string> known{"ash", "birch"};
  CHECK(suggest("brich", known) == "did you mean \"birch\"?");
  CHECK(suggest("x", known) == "known here: ash, birch");
  CHECK(suggest("x", std::vector<std::string>{}) == "");
  // Near enough to be the nearest, but nothing of it is the same.
  CHECK(nearest("i", std::vector<std::string>{"o"}) == "o");
  CHECK(meant("i", std::vector<std::string>{"o"}) == std::nullopt);
  CHECK(meant("parks", std::vector<std::string>{"park_s"}) == "park_s");
  const std::vector<std::string> many(100, "toolhead");
  CHECK(suggest("x", many).size() < 400);
  CHECK(suggest("x", many).substr(suggest("x", many).size() - 3) == "...");
}

TEST_CASE("strings and patterns as TOML has them") {
  CHECK(toml_string("a \"b\" \\ c") == R"("a \"b\" \\ c")");
  CHECK(toml_string("a\tb\n\x7f") == R"("a\u0009b\u000A\u007F")");
  CHECK(toml_pattern(R"(^G28\b)") == R"('^G28\b')");
  CHECK(toml_pattern(R"(^PICK 'A'\s)") == R"("^PICK 'A'\\s")");
  CHECK(toml_pattern("^\n") == R"("^\u000A")");
}
