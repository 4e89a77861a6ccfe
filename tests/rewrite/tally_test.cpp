#include "rewrite/tally.h"

#include "rewrite/diff.h"
#include "rewrite_test_help.h"

using namespace forewarm;
using namespace forewarm::rewrite;

namespace {

// "preheat +3 -0", a line each.
std::string rows(const Tally& tally) {
  std::string out;
  for (const ReasonCount& n : tally.by_reason()) {
    out += n.reason + " +" + std::to_string(n.inserted) + " -" + std::to_string(n.removed) + "\n";
  }
  return out;
}

Tally tally_of(const std::string& a, const std::string& b) {
  TextSource left(a);
  TextSource right(b);
  NullSink out;
  Tally tally;
  auto differ = diff(left, right, {"a", "b"}, out, {.tally = &tally});
  if (!differ) FAIL(render(differ.error()));
  CHECK(*differ == (a != b));
  return tally;
}

}  // namespace

TEST_CASE("reasons, shortened to what many lines have in common") {
  struct Case {
    const char *reason, *shortened;
  };
  for (const Case& c : {
           Case{"preheat: 46.3 s ahead, from 170 C to 220 C in 38.1 s", "preheat"},
           Case{"standby: parked 265 s", "standby"},
           Case{"standby by timer after 600 s", "standby by timer"},
           Case{"off by timer after 1800 s", "off by timer"},
           Case{"off: parked 6187 s, more than 1500 s", "off"},
           Case{"hold: parked 3 s, would dip only 2.0 C", "hold"},
           Case{"wait: hot before the exchange to T3", "wait before an exchange"},
           Case{"wait: T3 prints at 215 C", "wait before a use"},
           Case{"wait: something else", "wait"},
           Case{"step shape-tip: T3 is next in it", "step shape-tip"},
           Case{"step charge: T3 came in, makes up 0.62 mm for 3.1 min hot", "step charge"},
           Case{"down after the select, from the lift of tuck", "down after the select"},
           Case{"exchange at the hotter of the two", "exchange at the hotter of the two"},
           Case{"after the last use", "after the last use"},
           Case{"planning starts here", "planning starts here"},
           Case{"echo: change 12, T3 to T5", "echo"},
           Case{"mapped T0 to T3", "mapped"},
           Case{"mapped T0 to T3, left out: T1 is in use there", "mapped"},
           Case{"", ""},
           Case{"odd\x1b[31m", "odd?[31m"},
       }) {
    CAPTURE(c.reason);
    CHECK(shortened(c.reason) == c.shortened);
  }
  CHECK(shortened(std::string(500, 'x')).size() == 63);  // and "..."
}

TEST_CASE("lines of a diff, by reason") {
  const std::string head = header_line({1, 2, 3}) + "\n";
  struct Case {
    const char* what;
    std::string a, b, rows;
  };
  for (const Case& c : {
           Case{"nothing", "a\n", "a\n", ""},
           Case{"no marks", "a\nb\nc\n", "a\nx\nc\ny\n", "without a mark +2 -1\n"},
           Case{"a rewrite", "M104 T0 S1\na\n",
                head + ";fw- M104 T0 S1\nM104 T0 S2 ;fw+ standby: parked 3 s\na\n",
                "M104 of the job +0 -1\nfirst line +1 -0\nstandby +1 -0\n"},
           Case{"numbered, in small letters, indented", "N5 m109 S1*33\n  M104 S2\n\xff\n",
                head + ";fw- N5 m109 S1*33\n;fw-   M104 S2\n;fw- \xff\n",
                "M104 of the job +0 -1\nM109 of the job +0 -1\nfirst line +1 -0\n"
                "other lines of the job +0 -1\n"},
           Case{"CR LF, and no ending at the end", "M104 S1\r\nM104 S2",
                head + ";fw- M104 S1\r\n;fw- M104 S2\r\nM104 S3 ;fw+ off: x",
                "M104 of the job +0 -2\nfirst line +1 -0\noff +1 -0\n"},
           Case{"a last line that got an ending", "a\nb", head + "a\nb\nM104 S3 ;fw+ off: x",
                "ending of the last line +1 -1\nfirst line +1 -0\noff +1 -0\n"},
           Case{"a line for another tool", "T0\nM104 S1\na\n",
                head + " ;fw+ mapped T0 to T1\n;fw- T0\nT1 ;fw+ mapped T0 to T1\n;fw- M104 S1\na\n",
                "mapped +2 -1\nM104 of the job +0 -1\nfirst line +1 -0\n"},
           Case{"marks of both", "a\nM104 S1 ;fw+ hold: x\n", "a\nM104 S2 ;fw+ off: y\n",
                "hold +0 -1\noff +1 -0\n"},
       }) {
    CAPTURE(c.what);
    CHECK(rows(tally_of(c.a, c.b)) == c.rows);
  }
}

TEST_CASE("what a tally counts is what the diff has") {
  const std::string name = GENERATE(from_range(kFixtures));
  CAPTURE(name);
  const std::string text = fixture(name);
  const std::string once = rewritten(text, demo_rules());
  const Tally tally = tally_of(text, once);
  std::uint64_t inserted = 0, removed = 0;
  for (const Line& line : lines_of(once)) {
    removed += is_disabled(line.text) ? 1 : 0;
    inserted += is_inserted(line.text) ? 1 : 0;
  }
  ReasonCount all;
  for (const ReasonCount& n : tally.by_reason()) {
    all.inserted += n.inserted;
    all.removed += n.removed;
    CHECK(n.reason != "without a mark");
    CHECK(n.reason.find(':') == std::string::npos);
  }
  CHECK(all.inserted == inserted + 1);
  CHECK(all.removed == removed);
  CHECK(tally.plus() == inserted + 1 + removed);
  CHECK(tally.minus() == removed);
}

TEST_CASE("reasons without end are counted together") {
  std::string a = "0\n", b = "0\n";
  for (int i = 0; i < 500; ++i) b += "M104 S1 ;fw+ reason " + std::to_string(i) + "\n";
  const Tally tally = tally_of(a, b);
  CHECK(tally.by_reason().size() <= Tally::kMostReasons + 1);
  CHECK(tally.by_reason().front().reason == "other reasons");
  CHECK(tally.plus() == 500);
}

TEST_CASE("hunks that are not wanted are not counted") {
  std::string a, b;
  for (int i = 0; i < 60; ++i) {
    a += std::to_string(i) + "\n";
    b += std::to_string(i) + (i % 20 == 5 ? "x\n" : "\n");
  }
  TextSource left(a);
  TextSource right(b);
  NullSink out;
  Tally tally;
  std::vector<HunkPlace> places;
  const auto wanted = [&](const HunkPlace& place) {
    places.push_back(place);
    return places.size() == 2;
  };
  const auto differ = diff(left, right, {"a", "b"}, out, {.wanted = wanted, .tally = &tally});
  REQUIRE(differ);
  CHECK(*differ);
  REQUIRE(places.size() == 3);
  CHECK(places[0].first == a.find("5\n"));
  CHECK(places[1].first == a.find("25\n"));
  CHECK(places[1].last == a.find("26\n"));  // the line for it is before that one
  CHECK(tally.hunks() == 1);
  CHECK(tally.plus() == 1);
  CHECK(tally.minus() == 1);
}
