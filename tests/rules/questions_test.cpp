// Answers to the questions for a new rule file, typed and from a file.
#include "rules/questions.h"

#include <catch2/catch.hpp>

#include "base/error.h"

using namespace forewarm;
using rules::Answers;

namespace {

Answers two() {
  Answers out;
  out.toolheads = {{0}, {1}};
  return out;
}

std::string refused(std::string_view key, std::string_view typed) {
  Answers answers = two();
  const auto taken = rules::answer(key, typed, answers);
  return taken ? "accepted" : render(taken.error());
}

}  // namespace

TEST_CASE("questions: there are ten, and each takes its own default") {
  CHECK(rules::questions().size() == 10);
  for (const rules::Question& q : rules::questions()) {
    CAPTURE(q.key);
    CHECK(q.text.find('?') != std::string_view::npos);
    Answers answers = two();
    const std::string text = rules::answer_text(answers, q.key);
    CHECK(rules::answer(q.key, text, answers).ok());
    CHECK(rules::answer_text(answers, q.key) == text);
  }
}

TEST_CASE("questions: what is typed") {
  Answers a = two();
  const auto take = [&](const char* key, const char* typed) {
    const auto taken = rules::answer(key, typed, a);
    if (!taken) FAIL(render(taken.error()));
  };
  take("toolheads", "0 | 1 2,3;7");
  CHECK(a.toolheads == std::vector<std::vector<int>>{{0}, {1, 2, 3}, {7}});
  take("toolheads", "[[0], [1, 2]]");
  CHECK(a.toolheads.size() == 2);
  take("names", "ash, birch");
  CHECK(a.names == std::vector<std::string>{"ash", "birch"});
  take("names", "['left hand', \"b\"]");
  CHECK(a.name(0) == "left hand");
  take("power_w", "40 62.5");
  CHECK(a.power(1) == 62.5);
  take("max_c", "280");
  CHECK(a.max(1) == 280);
  take("machine", "my bench");
  CHECK(a.machine == "my bench");
  take("park_s", "6.5");
  CHECK(a.park_s == 6.5);
  // Names of other toolheads are gone with these.
  take("toolheads", "4");
  CHECK(a.name(0) == "T4");
}

TEST_CASE("questions: what is refused, and leaves the answers alone") {
  struct Row {
    const char *key, *typed, *says;
  };
  const char* const kForm = "\n  hint: such as [[0], [1, 2, 3]]: a feeder serves the second";
  for (const Row& row : {
           Row{"toolheads", "[]", "toolheads must be an array of arrays of T numbers"},
           Row{"toolheads", "0 |", "a toolhead serves one T number at least"},
           Row{"toolheads", "0 | 0", "T0 is that of two toolheads"},
           Row{"toolheads", "-1", "a tool must be from 0 to 65535, not -1"},
           Row{"toolheads", "[0, 1]", "a toolhead serves one T number at least"},
           Row{"names", "ash", "1 values of names for 2 toolheads"},
           Row{"names", "[1, 2]", "a name must be a string, not an integer"},
           Row{"names", "ash ash", "there is a toolhead \"ash\" already"},
           Row{"names", "a;fw+ b",
               "a name must not contain \";fw\", which marks the lines that rewriting inserts"},
           Row{"power_w", "0", "power_w must be more than 0 and at most 100000, not 0"},
           Row{"power_w", "[]", "power_w has no value"},
           Row{"max_c", "1 2 3", "3 values of max_c for 2 toolheads"},
           Row{"exchange_s", "soon", "exchange_s must be a number, not a string"},
           Row{"standby_c", "1001", "standby_c must be from 0 to 1000, not 1001"},
           Row{"off_over_s", "-1", "off_over_s must be at least 0, not -1"},
           Row{"machine", "7", "machine must be a string, not an integer"},
       }) {
    CAPTURE(row.key, row.typed);
    const std::string said = refused(row.key, row.typed);
    CHECK(said.substr(0, said.find(kForm)) == row.says);
  }
}

TEST_CASE("questions: a file of answers") {
  const auto in = [](const std::string& text) { return rules::answers_in(text, "a.toml", two()); };
  const auto some = in("machine = \"bench\"\ntoolheads = [[0, 1], [2]]\nmax_c = [280, 300]\n");
  REQUIRE(some);
  CHECK(some->machine == "bench");
  CHECK(some->toolheads == std::vector<std::vector<int>>{{0, 1}, {2}});
  CHECK(some->max(0) == 280);
  CHECK(some->park_s == Answers().park_s);
  CHECK(in(""));
  struct Row {
    const char *text, *says;
  };
  for (const Row& row : {
           Row{"park_s = 1\npark = 2\n",
               "a.toml:2:1: no question is called \"park\"\n  park = 2\n  ^\n  hint: did you mean "
               "\"park_s\"?"},
           Row{"park_s = 'x'\n",
               "a.toml:1:10: park_s must be a number, not a string\n  park_s = 'x'\n           ^"},
           Row{"names = ['a']\n",
               "a.toml:1:9: 1 values of names for 2 toolheads\n  names = ['a']\n          ^"},
       }) {
    CAPTURE(row.text);
    const auto answers = in(row.text);
    REQUIRE_FALSE(answers);
    CHECK(render(answers.error()) == row.says);
    CHECK(answers.error().kind == Error::Kind::usage);
  }
  CHECK_FALSE(in("park_s = \n"));
  CHECK_FALSE(in("a = " + std::string(100, '[')));
}
