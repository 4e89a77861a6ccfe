#include "rules/matrix.h"

#include <algorithm>
#include <catch2/catch.hpp>

#include "rules/load.h"

using namespace forewarm;
using rules::Matrix;

namespace {

const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2, 3, 4]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 1
name = "moss green"
[[filament]]
tool = 2
name = "heath, \"dark\""
[[filament]]
tool = 3
name = "white"
[[filament]]
tool = 4
name = "white"
)";

Result<Matrix> read(const std::string& text) {
  const auto loaded = rules::load(kRules, "rules.toml");
  if (!loaded) FAIL(render(loaded.error()));
  return rules::load_matrix(text, "purge.csv", *loaded);
}

// "g: 0>1=2 0>2=3 ..."
std::string content(const std::string& text) {
  const auto m = read(text);
  if (!m) FAIL(render(m.error()) << "\nin:\n" << text);
  std::string out = m->unit == Matrix::Unit::g ? "g:" : "mm3:";
  for (const int from : m->from) {
    for (const int to : m->to) {
      std::string value = std::to_string(m->cost(from, to).value());
      value.erase(value.find_last_not_of('0') + 1);
      if (value.back() == '.') value.pop_back();
      out += ' ' + std::to_string(from) + '>' + std::to_string(to) + '=' + value;
    }
  }
  return out;
}

std::string refusal(const std::string& text) {
  const auto m = read(text);
  if (m) return "accepted";
  CHECK(m.error().kind == Error::Kind::rules);
  return render(m.error());
}

}  // namespace

TEST_CASE("a matrix, however it is written") {
  const std::string plain = "g: 0>0=0 0>1=0.25 1>0=1.5 1>1=0";
  for (const char* text : {
           "g,T0,T1\nT0,0,0.25\nT1,1.5,0\n",
           "g,T0,T1\nT0,,0.25\nT1,1.5,\n",  // a filament and itself
           "g,0,1\n0,,.25\n1,15e-1,9\n",    // by number
           "\xef\xbb\xbf"
           "g,T0,T1\r\nT0,,0.25\r\nT1,1.5,\r\n",  // a byte order mark, CR LF
           "# out of in\n\n  g , t0 ,\tT1 # to\n T0 , , 0.25\n\nT1,1.5,  #\n#",
           "\"g\",\"T0\",\"moss green\"\n\"T0\",\"\",\"0.25\"\nmoss green,1.5,-0",
       }) {
    INFO(text);
    std::string expected = plain;
    if (std::string(text).find(",9") != std::string::npos) expected.back() = '9';
    CHECK(content(text) == expected);
  }
  CHECK(content("mm3,\"heath, \"\"dark\"\"\"\nT1,1000000\n") == "mm3: 1>2=1000000");
}

TEST_CASE("what a matrix does not say") {
  const auto m = read("g,T0,T1\nT0,,2\n");
  REQUIRE(m);
  CHECK(m->cost(0, 1) == 2);
  CHECK_FALSE(m->cost(1, 0).has_value());
  CHECK_FALSE(m->cost(0, 2).has_value());
  CHECK(m->line == 1);
}

TEST_CASE("matrices that are refused, with the place") {
  struct Case {
    std::string text, refusal;
  };
  for (const Case& c : {
           Case{"",
                "purge.csv: the matrix is empty\n"
                "  hint: its first row: the unit, g or mm3, then the filaments that come in"},
           Case{"# nothing\n\n",
                "purge.csv: the matrix is empty\n"
                "  hint: its first row: the unit, g or mm3, then the filaments that come in"},
           Case{"g,T0\n# no more\n",
                "purge.csv:1: the matrix has no rows\n  # no more\n"
                "  hint: a row: the filament that goes out, then what each one coming in costs"},
           Case{"kg,T0\nT0,1\n",
                "purge.csv:1:1: the first cell is the unit, g or mm3, not \"kg\"\n  kg,T0\n  ^"},
           Case{",T0\nT0,1\n",
                "purge.csv:1:1: the first cell is the unit, g or mm3, not \"\"\n  ,T0\n  ^"},
           Case{"g\nT0\n", "purge.csv:1:2: the first row names no filament\n  g\n   ^"},
           Case{"g,T0,\nT0,1,2\n",
                "purge.csv:1:6: a filament must be named here\n  g,T0,\n       ^"},
           Case{"g,T9\nT0,1\n", "purge.csv:1:3: no toolhead serves T9\n  g,T9\n    ^"},
           Case{"g,T99999999999\nT0,1\n",
                "purge.csv:1:3: there is no filament \"T99999999999\"\n  g,T99999999999\n    ^\n"
                "  hint: known here: heath, \"dark\", moss green, white"},
           Case{"g,moss gren\nT0,1\n",
                "purge.csv:1:3: there is no filament \"moss gren\"\n  g,moss gren\n    ^\n"
                "  hint: did you mean \"moss green\"?"},
           Case{"g,white\nT0,1\n",
                "purge.csv:1:3: several filaments are called \"white\"\n  g,white\n    ^\n"
                "  hint: give the T number"},
           Case{"g,T1,moss green\nT0,1,2\n",
                "purge.csv:1:6: there is a column for T1 already\n  g,T1,moss green\n       ^"},
           Case{"g,T0\nT1,1\n\nT1,1\n",
                "purge.csv:4:1: there is a row for T1 already\n  T1,1\n  ^"},
           Case{
               "g,T0,T1\nT0,1\n",
               "purge.csv:2:5: this row has fewer cells than the first: 2, not 3\n  T0,1\n      ^"},
           Case{"g,T0\nT1,1,2,3\n",
                "purge.csv:2:6: this row has more cells than the first: 4, not 2\n  T1,1,2,3\n"
                "       ^"},
           Case{"g,T0,T1\nT0,,\n", "purge.csv:2:5: the cell T0 to T1 is empty\n  T0,,\n      ^"},
           Case{"g,T0\nT1, -1\n",
                "purge.csv:2:5: a cell must be from 0 to 1000000, not -1\n  T1, -1\n      ^"},
           Case{"g,T0\nT1,1000000.5\n",
                "purge.csv:2:4: a cell must be from 0 to 1000000, not 1000000.5\n"
                "  T1,1000000.5\n     ^"},
           Case{"g,T0\nT1,1e999\n",
                "purge.csv:2:4: a cell must be from 0 to 1000000, not 1e999\n  T1,1e999\n     ^"},
           Case{"g,T0\nT1,inf\n",
                "purge.csv:2:4: a cell must be from 0 to 1000000, not inf\n  T1,inf\n     ^"},
           Case{"g,T0\nT1,nan\n",
                "purge.csv:2:4: a cell must be a number, not \"nan\"\n  T1,nan\n     ^"},
           Case{"g,T0\nT1,0.5 g\n",
                "purge.csv:2:4: a cell must be a number, not \"0.5 g\"\n  T1,0.5 g\n     ^"},
           Case{"g,T0\nT1,0x1\n",
                "purge.csv:2:4: a cell must be a number, not \"0x1\"\n  T1,0x1\n     ^"},
           Case{"g,T0\n\"T1,1\n",
                "purge.csv:2:1: a quote is opened here and never closed\n  \"T1,1\n  ^"},
           Case{"g,\"T0\"x\nT1,1\n",
                "purge.csv:1:7: after a closing quote comes a comma, or the line's end\n"
                "  g,\"T0\"x\n        ^"},
           // Columns are characters; control characters reach nobody.
           Case{"g,\"moss green\",T0\nT1,,\xc3\xa4\x1b[1m\n",
                "purge.csv:2:5: a cell must be a number, not \"\xc3\xa4?[1m\"\n"
                "  T1,,\xc3\xa4?[1m\n      ^"},
       }) {
    INFO(c.text);
    CHECK(refusal(c.text) == c.refusal);
  }
}

TEST_CASE("a matrix has its bounds") {
  std::string text = "g,T0\nT1,1\n" + std::string(rules::kMaxMatrixBytes - 10, '\n');
  CHECK(content(text) == "g: 1>0=1");
  text += '\n';
  CHECK(refusal(text) == "purge.csv: a matrix has at most 1 MiB");
}

TEST_CASE("with a toolhead for each tool seen, any T number will do") {
  const auto seen = rules::load(rules::built_in_text(), "built-in");
  REQUIRE(seen);
  CHECK(rules::load_matrix("g,T7\nT8,1\n", "m.csv", *seen).ok());
}

TEST_CASE("every mutation of a matrix is read or refused at a place in it") {
  const std::string good = "# x\nmm3,T0,\"moss green\"\r\nT0,,1.5\nT1,2e3,\n";
  std::uint32_t seed = 1;
  const auto next = [&](std::size_t below) {
    seed = seed * 1664525 + 1013904223;
    return (seed >> 8) % below;
  };
  const std::string bytes("\0\",#\nT01.e- \xff\xc3", 14);
  int refused = 0;
  for (int i = 0; i < 5000; ++i) {
    std::string text = good;
    for (std::size_t n = 1 + next(3); n > 0; --n) {
      text.replace(next(text.size()), next(3), 1, bytes[next(bytes.size())]);
    }
    const auto m = read(text);
    if (m) {
      CHECK(m->cells.size() == m->from.size() * m->to.size());
      continue;
    }
    ++refused;
    const auto lines = std::uint64_t(std::count(text.begin(), text.end(), '\n')) + 1;
    CHECK(m.error().line <= lines);
    CHECK(m.error().column <= characters(m.error().excerpt) + 1);
  }
  CHECK(refused > 1000);
}
