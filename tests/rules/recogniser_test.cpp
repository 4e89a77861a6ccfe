#include "rules/recogniser.h"

#include <catch2/catch.hpp>
#include <sstream>

using namespace forewarm;
using rules::Duration;
using rules::Recognise;
using rules::Recogniser;
using As = Recognise::As;

namespace {

Recogniser make(const std::vector<Recognise>& patterns,
                const std::vector<Duration>& durations = {}) {
  auto result = Recogniser::make(patterns, durations);
  if (!result) FAIL(render(result.error()));
  return std::move(*result);
}

const char* word_of(As as) {
  switch (as) {
    case As::change:
      return "change";
    case As::set:
      return "set";
    case As::wait:
      return "wait";
    case As::purge_begin:
      return "purge-begin";
    case As::purge_end:
      return "purge-end";
    case As::layer:
      return "layer";
    case As::pause:
      return "pause";
  }
  return "?";
}

// "change tool=3, layer, 22 s": what a line says, in short.
std::string said(const Recogniser& recogniser, std::string_view line) {
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  recogniser.match(line, found, seconds);
  std::ostringstream out;
  const char* comma = "";
  for (const auto& r : found) {
    out << comma << word_of(r.as);
    if (r.tool) out << " tool=" << *r.tool;
    if (r.heater) out << " heater=" << *r.heater;
    if (r.temp) out << " temp=" << *r.temp;
    comma = ", ";
  }
  if (seconds) out << comma << *seconds << " s";
  return out.str();
}

}  // namespace

TEST_CASE("a job's own words are understood") {
  const Recogniser r = make(
      {
          {R"(^CHANGE_TO\s+(?P<tool>\d+))", As::change},
          {R"(^WARM\s+(?P<heater>\S+)\s+(?P<temp>\S+))", As::set},
          {R"(^AWAIT T(?P<tool>\d+) (?P<temp>[\d.]+))", As::wait},
          {R"(^; rinse begins)", As::purge_begin},
          {R"(^; rinse ends)", As::purge_end},
          {R"(^; == level)", As::layer},
      },
      {{"^G28", 22}, {"^G28 X", 9}, {"LEVEL", 40}});

  struct Case {
    const char *line, *says;
  };
  for (const Case& c : std::vector<Case>{
           {"CHANGE_TO 3", "change tool=3"},
           {"CHANGE_TO   12 ; moss green", "change tool=12"},
           {"WARM 2 205.5", "set heater=2 temp=205.5"},
           {"AWAIT T4 210", "wait tool=4 temp=210"},
           {"; rinse begins", "purge-begin"},
           {"; rinse ends", "purge-end"},
           {"; == level 7 of 32", "layer"},
           {"G28", "22 s"},
           {"G28 X", "22 s"},  // the first of the durations
           {"BED_LEVEL", "40 s"},
           {"", ""},
           {"  CHANGE_TO 3", ""},  // tied to the start of the line
           {"G1 X5", ""},
           {"\xff\xfe CHANGE_TO 3", ""},
       }) {
    INFO(c.line);
    CHECK(said(r, c.line) == c.says);
  }
}

TEST_CASE("where a line says its numbers") {
  const Recogniser r =
      make({{R"(^WARM (?:H(?P<heater>\d+)|T(?P<tool>\d+)) (?P<temp>\d+))", As::set}}, {});
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  r.match("WARM H12 200", found, seconds);
  r.match("WARM T3 200", found, seconds);
  REQUIRE(found.size() == 2);
  CHECK(found[0].heater_at == 6);
  CHECK(found[0].heater_length == 2);
  CHECK(found[0].tool_length == 0);
  CHECK(found[1].tool_at == 6);
  CHECK(found[1].tool_length == 1);
  CHECK(found[1].heater_length == 0);
}

TEST_CASE("what captured no sensible number was not recognised") {
  const Recogniser r = make({
      {R"(^CHANGE_TO(?: (?P<tool>.*))?)", As::change},
      {R"(^WARM (?:H(?P<heater>\S*)|T(?P<tool>\S*)|-) (?P<temp>\S*))", As::set},
  });
  struct Case {
    const char *line, *says;
  };
  for (const Case& c : std::vector<Case>{
           {"CHANGE_TO 3", "change tool=3"},
           {"CHANGE_TO", ""},
           {"CHANGE_TO ", ""},
           {"CHANGE_TO three", ""},
           {"CHANGE_TO -1", ""},
           {"CHANGE_TO 3 ", ""},
           {"CHANGE_TO 3.0", ""},
           {"CHANGE_TO 99999999999999999999", ""},
           {"CHANGE_TO 65536", ""},
           {"WARM H1 200", "set heater=1 temp=200"},
           {"WARM T1 200", "set tool=1 temp=200"},
           {"WARM T1 0", "set tool=1 temp=0"},
           {"WARM - 200", ""},
           {"WARM H 200", ""},
           {"WARM Hx 200", ""},
           {"WARM T1 ", ""},
           {"WARM T1 hot", ""},
           {"WARM T1 nan", ""},
           {"WARM T1 inf", ""},
           {"WARM T1 -5", ""},
           {"WARM T1 1e300", ""},
           {"WARM T1 200C", ""},
       }) {
    INFO(c.line);
    CHECK(said(r, c.line) == c.says);
  }
}

TEST_CASE("a line may say several things, in the rule file's order") {
  const Recogniser r =
      make({{"x", As::purge_end}, {"^(?P<tool>\\d)", As::change}, {"x", As::layer}}, {{"x", 1.5}});
  CHECK(said(r, "4x") == "purge-end, change tool=4, layer, 1.5 s");
}

TEST_CASE("found things are appended, and seconds left alone where no duration matches") {
  const Recogniser r = make({{"^L", As::layer}}, {{"^D", 3}});
  std::vector<rules::Recognised> found(1);
  std::optional<double> seconds = 7;
  r.match("L", found, seconds);
  CHECK(found.size() == 2);
  CHECK(seconds == 7.0);
}

TEST_CASE("no patterns, nothing recognised") {
  const Recogniser r = make({});
  CHECK(r.empty());
  CHECK_FALSE(r.wants_moves());
  CHECK(said(r, "CHANGE_TO 3") == "");
  CHECK_FALSE(make({}, {{"^G28", 1}}).empty());
}

TEST_CASE("a recogniser can be moved") {
  Recogniser a = make({{"^L", As::layer}});
  Recogniser b = std::move(a);
  CHECK(said(b, "L") == "layer");
  a = make({{"^P", As::purge_end}});
  CHECK(said(a, "P") == "purge-end");
}

TEST_CASE("plain moves are skipped only where no pattern could want them") {
  struct Case {
    const char* pattern;
    bool wants;
  };
  for (const Case& c : std::vector<Case>{
           // Tied to a start that no move has.
           {"^CHANGE_TO", false},
           {"^; rinse begins", false},
           {"^;LAYER", false},
           {"^;.*G1", false},
           {"^M600", false},
           {"^T\\d+", false},
           {"(?i)^tool", false},
           {"^G28", false},
           {"(?i)^g29 .*", false},
           {"^G4 P", false},
           {"^G92 E0", false},
           {"^GO_HOME", false},
           // Moves, one way or another.
           {"^G1", true},
           {"^G1 .*; wipe", true},
           {"^G0?1 ", true},
           {"^g2", true},
           {"(?i)^G3", true},
           {"^G[01] X", true},
           {"^G\\d+ X", true},
           {"^G28?", true},
           {"^G0*1", true},
           {"^GO?1", true},
           {"^M?G1", true},
           {"^.1 X", true},
           {"^[GM]1 ", true},
           {"^(G1|G0) ", true},
           {"^M600|G1", true},
           {"^ *G1", true},
           {"^N\\d+ ", true},
           {"^G1 F1800$", true},
           {"^\\s*G1", true},
           {"^\xc3\xa9?G1", true},
           {"^", true},
           {"X1", true},
           // Not tied to the start: may be in the comment behind a move.
           {"; rinse", true},
           {"CHANGE_TO", true},
           {"purge$", true},
       }) {
    INFO(c.pattern);
    CHECK(make({}, {{c.pattern, 1}}).wants_moves() == c.wants);
  }
  CHECK(
      make({{"^;L", As::layer}, {"^;P", As::purge_end}}, {{"^G28", 1}, {"^G1", 1}}).wants_moves());
}

TEST_CASE("a fixed tool stands where the line has no number") {
  const Recogniser r = make({{"^PICK_CEDAR", As::change, 3},
                             {R"(^WARM( H(?P<tool>\S+))? S(?P<temp>\d+))", As::set, 2},
                             {R"(^AWAIT_ASH (?P<temp>\d+))", As::wait, 0}},
                            {});
  CHECK(said(r, "PICK_CEDAR") == "change tool=3");
  CHECK(said(r, "WARM S210") == "set tool=2 temp=210");
  CHECK(said(r, "WARM H1 S210") == "set tool=1 temp=210");
  CHECK(said(r, "WARM Hx S210").empty());
  CHECK(said(r, "AWAIT_ASH 200") == "wait tool=0 temp=200");
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  r.match("PICK_CEDAR", found, seconds);
  REQUIRE(found.size() == 1);
  CHECK(found[0].tool_length == 0);  // it stands nowhere in the line
}

TEST_CASE("hits are counted pattern by pattern") {
  const auto recogniser =
      Recogniser::make({{"^A", As::layer}, {"^;", As::layer}}, {{"B", 1}, {"^A", 2}}, {"^C"});
  REQUIRE(recogniser);
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  std::vector<std::uint64_t> hits;
  recogniser->match("nothing", found, seconds, &hits);
  CHECK(hits.empty());
  for (const char* line : {"A", "AB", "C", "B", "nothing"}) {
    recogniser->match(line, found, seconds, &hits);
  }
  CHECK(hits == std::vector<std::uint64_t>{2, 0, 2, 2, 1});
}

TEST_CASE("what makes a pattern unusable") {
  struct Case {
    Recognise pattern;
    const char* why;  // empty: usable
  };
  for (const Case& c : std::vector<Case>{
           {{"(?P<tool>.)", As::change}, ""},
           {{"(?P<heater>.)", As::change},
            "pattern needs a group (?P<tool>...) to be a change, or a fixed tool beside it"},
           {{"^CHANGE_ASH", As::change, 0}, ""},
           {{"(?P<temp>.)", As::set, 0}, ""},
           {{"^AWAIT_ASH", As::wait, 0}, "pattern needs a group (?P<temp>...) to be a wait"},
           {{"(?P<tool>.)(?P<temp>.)", As::set}, ""},
           {{"(?P<heater>.)(?P<temp>.)", As::wait}, ""},
           {{"(?P<temp>.)", As::set},
            "pattern needs a group (?P<heater>...) or (?P<tool>...) to be a set, or a fixed tool "
            "beside it"},
           {{"(?P<tool>.)", As::wait}, "pattern needs a group (?P<temp>...) to be a wait"},
           {{"x", As::layer}, ""},
           {{"(x)", As::purge_begin}, ""},
           {{"[", As::layer}, "pattern does not compile: missing ]: ["},
           {{"(?P<tool>.)(?P<tool>.)", As::change}, "pattern has two groups named tool"},
           {{"(\\pL{100}){10}", As::layer},
            "pattern needs more than 1 MiB: make its repetitions smaller"},
       }) {
    INFO(c.pattern.match);
    CHECK(rules::why_unusable(c.pattern).value_or("") == c.why);
  }
  CHECK_FALSE(rules::why_unusable(Duration{"^G28", 1}));
  CHECK(rules::why_unusable(Duration{"(", 1}) == "pattern does not compile: missing ): (");
}

TEST_CASE("a pattern that was never checked is an error, not a crash") {
  CHECK_FALSE(Recogniser::make({{"(", As::layer}}, {}));
  CHECK_FALSE(Recogniser::make({}, {{"(", 1}}));
}

TEST_CASE("patterns too many for one automaton give the same answers one by one") {
  std::vector<Recognise> patterns;
  for (int i = 0; i < 70; ++i) {
    patterns.push_back({"^;" + std::to_string(i) + "\\pL{30}.*\\pN{20}$", As::layer});
  }
  patterns.push_back({"^CHANGE_TO (?P<tool>\\d+)", As::change});
  const Recogniser r = make(patterns);
  CHECK(said(r, "CHANGE_TO 3") == "change tool=3");
  CHECK(said(r, ";17" + std::string(30, 'a') + std::string(20, '1')) == "layer");
  CHECK(said(r, ";17" + std::string(30, 'a') + std::string(19, '1')) == "");
}

TEST_CASE("a very long line takes time in proportion, whatever the pattern") {
  const Recogniser r = make({{"(a*)*b", As::layer}, {"(?P<tool>(?:a|aa)+)$", As::change}});
  CHECK(said(r, std::string(1 << 20, 'a') + "c") == "");
}
