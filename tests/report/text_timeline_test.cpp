#include "report/text_timeline.h"

#include <catch2/catch.hpp>
#include <random>
#include <string>
#include <vector>

#include "base/error.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

using Kind = Picture::Kind;

// Two toolheads over 800 s; a name of 7 characters leaves 32 columns of 25 s to a width of 40.
TextTimeline two() {
  TextTimeline t;
  t.rows = {{"ash", {}, {}}, {"birch", {}, {}}};
  t.filaments = {"granite (T0)", "moss (T1)"};
  t.end_s = 800;
  t.width = 40;
  return t;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t lf = text.find('\n', at);
    REQUIRE(lf != std::string::npos);
    out.push_back(text.substr(at, lf - at));
    at = lf + 1;
  }
  return out;
}

// The columns of the line that begins with `name`.
std::string row(const TextTimeline& t, const std::string& name) {
  for (const std::string& line : lines_of(text_of(t))) {
    if (line.starts_with(name)) return line.size() > 8 ? line.substr(8) : "";
  }
  return "no such row";
}

}  // namespace

TEST_CASE("a timeline, whole") {
  TextTimeline t = two();
  t.rows[0].stretches = {{100, 300, Kind::kUse},
                         {300, 450, Kind::kHold},
                         {450, 600, Kind::kUse},
                         {600, 800, Kind::kOff}};
  t.rows[1].stretches = {{100, 250, Kind::kStandby},
                         {250, 300, Kind::kHeating},
                         {300, 450, Kind::kUse + 1},
                         {450, 800, Kind::kOff}};
  t.rows[1].waits = {{0, 100}, {300, 325}};
  CHECK(text_of(t) == R"(timeline, h:mm: a column is 25.0 s
ash         AAAAAAAA======AAAAAA........
birch   !!!!------//!BBBBB..............
waiting !!!!        !
        |0:00       |0:05       |0:10
  A granite (T0), B moss (T1), . off,
  - standby, = hold, / heating, ! waited
  for
  A column shows what most of it is;
  where a toolhead prints for less than
  that, the filament in a small letter.
  Waiting has a line of its own as well,
  so that none is lost: tenths of a
  column, rounded up, and ! for more
  than nine.
)");
}

TEST_CASE("where labels have seconds, the first line says so") {
  TextTimeline t = two();
  t.end_s = 80;
  const auto lines = lines_of(text_of(t));
  CHECK(lines[0] == "timeline, h:mm:ss: a column is 2.5 s");
  CHECK(lines[3] == "        |0:00:00    |0:00:30    |0:01:00");
}

TEST_CASE("rows begin in one column, whatever characters a name has") {
  TextTimeline t = two();
  const std::string heath = "\xe8\x8d\x92\xe5\x8e\x9f";  // two characters of two columns
  t.rows[0] = {heath + heath + heath + heath + heath, {{0, 800, Kind::kUse}}, {}};
  t.rows[1] = {"a\xcc\x88sh", {{0, 800, Kind::kOff}}, {}};
  const auto lines = lines_of(text_of(t));
  // Of the 16 columns for a name, the cut one fills 15.
  CHECK(lines[1] == heath + heath + heath + "... " + std::string(24, 'A'));
  CHECK(lines[2] == "a\xcc\x88sh             " + std::string(24, '.'));
}

TEST_CASE("a column shows what most of it is") {
  TextTimeline t = two();
  auto& ash = t.rows[0].stretches;
  SECTION("of two states, the longer one") {
    ash = {
        {0, 13, Kind::kStandby}, {13, 25, Kind::kOff}, {25, 37, Kind::kHold}, {37, 50, Kind::kOff}};
    CHECK(row(t, "ash") == "-.");
  }
  SECTION("of equals, the hotter one") {
    ash = {{0, 12.5, Kind::kOff}, {12.5, 25, Kind::kHold}};
    CHECK(row(t, "ash") == "=");
  }
  SECTION("uses count together, and then the filament that prints longest") {
    ash = {{0, 6, Kind::kUse}, {6, 13, Kind::kUse + 1}, {13, 25, Kind::kStandby}};
    CHECK(row(t, "ash") == "B");
  }
  SECTION("a use that is less than all else is a small letter") {
    ash = {{0, 1, Kind::kUse + 1}, {1, 50, Kind::kHold}};
    CHECK(row(t, "ash") == "b=");
  }
  SECTION("what is not planned is blank, whatever the use before") {
    ash = {{0, 25, Kind::kUse}, {50, 75, Kind::kUse}};
    CHECK(row(t, "ash") == "A A");
  }
  SECTION("many short stretches in one column") {
    for (int i = 0; i < 100; ++i) {
      const double at = i * 0.25;
      ash.push_back({at, at + 0.15, Kind::kStandby});
      ash.push_back({at + 0.15, at + 0.25, Kind::kHeating});
    }
    CHECK(row(t, "ash") == "-");
  }
  SECTION("what ends after the end is cut") {
    ash = {{790, 1e9, Kind::kOff}};
    CHECK(row(t, "ash") == std::string(31, ' ') + ".");
  }
}

TEST_CASE("waiting is never lost") {
  TextTimeline t = two();
  t.rows[0].stretches = {{0, 800, Kind::kUse}};
  SECTION("a moment of it is a tenth") {
    t.rows[0].waits = {{30, 30.1}};
    CHECK(row(t, "waiting") == " 1");
    CHECK(row(t, "ash") == std::string(32, 'A'));
  }
  SECTION("tenths are rounded up") {
    t.rows[0].waits = {{0, 2.5}, {25, 27.6}, {50, 72.5}, {75, 97.6}, {100, 125}};
    CHECK(row(t, "waiting") == "129!!");
    CHECK(row(t, "ash") == "AA!!!" + std::string(27, 'A'));
  }
  SECTION("what is waited for takes the place of what the toolhead does then") {
    t.rows[0].stretches = {{0, 20, Kind::kUse}, {20, 25, Kind::kHold}};
    t.rows[0].waits = {{2, 19}};
    CHECK(row(t, "ash") == "!");
  }
  SECTION("of several toolheads, the sum") {
    t.rows[0].waits = {{0, 5}};
    t.rows[1].waits = {{5, 10}};
    CHECK(row(t, "waiting") == "4");
  }
  SECTION("over the border of two columns") {
    t.rows[1].waits = {{24, 26}};
    CHECK(row(t, "waiting") == "11");
  }
  SECTION("where there is none, there is no line of it, nor a word") {
    CHECK(text_of(t).find("wait") == std::string::npos);
  }
}

TEST_CASE("the axis of a timeline") {
  TextTimeline t = two();
  t.rows[0].stretches = {{0, 1, Kind::kUse}};
  const auto axis = [&t] {
    for (const std::string& line : lines_of(text_of(t))) {
      if (line.find('|') != std::string::npos) return line.substr(8);
    }
    return std::string();
  };
  struct Case {
    double end_s;
    std::size_t width;
    const char* start;  // nullptr: job time
    const char* axis;
  };
  for (const Case& c : {
           Case{20, 40, nullptr, "|0:00:00        |0:00:10"},
           Case{800, 40, nullptr, "|0:00       |0:05       |0:10"},
           Case{3600, 60, nullptr, "|0:00        |0:15        |0:30        |0:45"},
           Case{36'000, 60, nullptr, "|0:00     |2:00     |4:00      |6:00     |8:00"},
           Case{400'000, 48, nullptr, "|0:00            |48:00           |96:00"},
           // Round by the clock; a date where a day begins.
           Case{36'000, 60, "2027-03-05T18:10",
                "         |20:00    |22:00     |03-06    |02:00     |"},
           Case{36'000, 60, "2027-03-05T18:00", "|18:00    |20:00    |22:00     |03-06    |02:00"},
           Case{150, 98, "2027-03-05T18:00",
                "|18:00:00         |18:00:30         |18:01:00         |18:01:30         "
                "|18:02:00"},
           Case{90, 40, "2027-03-05T23:59", "|23:59:00 |23:59:30  |00:00:00"},
           Case{500'000, 60, "2027-12-30T12:00",
                "             |01-01            |01-03            |"},
       }) {
    CAPTURE(c.end_s, c.width);
    t.end_s = c.end_s;
    t.width = c.width;
    t.start.reset();
    if (c.start != nullptr) {
      const auto start = parse_start(c.start);
      REQUIRE(start);
      t.start = *start;
    }
    CHECK(axis() == c.axis);
  }
}

TEST_CASE("with a start, the timeline says from when to when") {
  TextTimeline t = two();
  t.start = *parse_start("2027-03-05T23:50");
  CHECK(text_of(t).starts_with(
      "timeline, 2027-03-05 23:50 to 2027-03-06\n00:03: a column is 25.0 s\n"));
}

TEST_CASE("there is no timeline of nothing") {
  TextTimeline t = two();
  t.end_s = 0;
  CHECK(text_of(t).empty());
  t = two();
  t.rows.clear();
  CHECK(text_of(t).empty());
}

TEST_CASE("more filaments than letters") {
  TextTimeline t = two();
  for (std::size_t f = t.filaments.size(); f < 30; ++f) {
    t.filaments.push_back("T" + std::to_string(f));
  }
  t.rows[0].stretches = {{0, 25, Kind::kUse + 25},
                         {25, 50, Kind::kUse + 26},
                         {50, 51, Kind::kUse + 29},
                         {51, 75, Kind::kOff}};
  CHECK(row(t, "ash") == "Z&&");
  const std::string text = text_of(t);
  CHECK(text.find("Z T25,") != std::string::npos);
  CHECK(text.find("& any") != std::string::npos);
}

TEST_CASE("a colour is only ever beside a character") {
  TextTimeline t = two();
  t.rows[0].stretches = {{0, 100, Kind::kUse}, {100, 200, Kind::kHold}, {200, 300, Kind::kUse + 1}};
  t.rows[1].waits = {{0, 100}};
  const std::string plain = text_of(t);
  CHECK(plain.find('\x1b') == std::string::npos);
  t.colour = true;
  const std::string coloured = text_of(t);
  CHECK(coloured.find("ash     \x1b[36mAAAA\x1b[0m\x1b[33m====\x1b[0m\x1b[32mBBBB\x1b[0m\n") !=
        std::string::npos);
  std::string stripped;
  for (std::size_t at = 0; at < coloured.size(); ++at) {
    if (coloured[at] == '\x1b') {
      at = coloured.find('m', at);
    } else {
      stripped += coloured[at];
    }
  }
  CHECK(stripped == plain);
  // Every line ends as it began.
  for (const std::string& line : lines_of(coloured)) {
    const std::size_t last = line.rfind('\x1b');
    CHECK((last == std::string::npos || line.substr(last, 4) == "\x1b[0m"));
  }
}

TEST_CASE("no line of a timeline is wider than asked for, nor ends in a blank") {
  for (unsigned seed = 1; seed <= 300; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    const auto pick = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
    TextTimeline t;
    t.width = std::size_t(40 + pick(300));
    t.end_s = 0.5 + pick(1000) * (pick(1) == 0 ? 1 : 997);
    if (pick(1) == 0) t.start = LocalTime{pick(1'000'000'000)};
    for (int f = pick(40); f >= 0; --f)
      t.filaments.push_back(std::string(std::size_t(1 + pick(39)), 'x'));
    for (int h = pick(5); h >= 0; --h) {
      TextTimeline::Row r{std::string(std::size_t(pick(60)), 'n'), {}, {}};
      double at = pick(100);
      while (at < t.end_s && r.stretches.size() < 500) {
        const double to = at + t.end_s * (1 + pick(100)) / 1000;
        r.stretches.push_back({at, to, pick(Kind::kUse + int(t.filaments.size()) - 1)});
        if (pick(3) == 0) r.waits.push_back({at, at + (to - at) * pick(100) / 100});
        at = to + (pick(5) == 0 ? 1 : 0);
      }
      t.rows.push_back(std::move(r));
    }
    for (const std::string& line : lines_of(text_of(t))) {
      CAPTURE(line);
      REQUIRE(characters(line) <= t.width);
      REQUIRE((line.empty() || line.back() != ' '));
    }
  }
}

TEST_CASE("the timeline of a job is that of its look-ahead plan") {
  const Sample s;
  Picture picture;
  picture.end_s = 4000;
  picture.heads.resize(2);
  picture.heads[0].name = "left";
  picture.heads[1].name = "right";
  picture.filaments = {{0, "granite", "", "A", 0}, {1, "", "", "B", 1}};
  picture.planned.rows.resize(2);
  picture.planned.rows[0].stretches = {{60, 1200, Kind::kUse, 0}};
  using Stop = plan::Trace::Stop;
  picture.planned.stops = {{0, 60, 1, Stop::Kind::wait}, {100, 200, 0, Stop::Kind::sequence}};
  const TextTimeline t = text_timeline(s.summary(), picture);
  CHECK(t.end_s == 3600);
  CHECK(t.width == 200);
  CHECK_FALSE(t.start);
  CHECK(t.filaments == std::vector<std::string>{"granite (T0)", "T1"});
  REQUIRE(t.rows.size() == 2);
  CHECK(t.rows[0].name == "left");
  CHECK(t.rows[0].stretches.size() == 1);
  CHECK(t.rows[0].waits.empty());  // a sequence is no waiting
  REQUIRE(t.rows[1].waits.size() == 1);
  CHECK(t.rows[1].waits[0].to_s == 60);
  // It stands in the text where there is a picture.
  CHECK(text(s.summary(), &picture).find("\n\ntimeline, h:mm: a column is 18.8 s\nleft    ") !=
        std::string::npos);
  CHECK(text(s.summary()).find("timeline") == std::string::npos);
}
