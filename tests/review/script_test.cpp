// What a rewritten job makes the machine say.
#include "review/script.h"

#include <catch2/catch.hpp>

using namespace forewarm::review;
using forewarm::record::name_of;

namespace {

// "3 leave rests", as they stand there.
std::string says_of(const std::vector<std::string>& lines) {
  Script script;
  std::uint64_t offset = 0;
  for (const std::string& line : lines) {
    script.lines(line + "\n", offset, line.find(" ;fw+ ") != std::string::npos);
    offset += line.size() + 1;
  }
  std::string out;
  for (const Say& s : script.says()) {
    out += std::to_string(s.number) + ' ' + name_of(s.what) + (s.rests ? " rests" : "") + "; ";
  }
  return out;
}

}  // namespace

TEST_CASE("an echo rests behind what waits for motion") {
  CHECK(says_of({"G1 X3", "M118 forewarm 3 leave ;fw+ echo"}) == "3 leave; ");
  for (const char* before : {"M400", "M109 T1 S200", "M190 S60", "G4 P200", "T1", "G28", "N7 T1*33",
                             "  M400 ; all of it"}) {
    CAPTURE(before);
    CHECK(says_of({"G1 X3", before, "; a comment", "M118 forewarm 3 leave ;fw+ echo"}) ==
          "3 leave rests; ");
  }
  CHECK(says_of({"M400", "G1 X3", "M118 forewarm 3 leave ;fw+ echo"}) == "3 leave; ");
  CHECK(says_of({"G1 X3", "M400 ;fw+ echo", "M118 forewarm 3 leave ;fw+ echo"}) ==
        "3 leave rests; ");
  CHECK(says_of({"T1", "M104 T1 S200 ;fw+ preheat", "M118 forewarm 3 there ;fw+ echo"}) ==
        "3 there; ");
}

TEST_CASE("echoes that the job has itself count as well") {
  const std::string job =
      "G28\nM118 forewarm 0 start\nG1 X3\nM118 forewarm 1 leave\nT0\n"
      "M118 forewarm 1 there\nM109 S200\n; warm\nM118 forewarm 1 ready\nM118 forewarm 2 leave\n";
  Script script;
  script.lines(job, 100, false);
  std::string out;
  for (const Say& s : script.says()) {
    out += std::to_string(s.number) + ' ' + name_of(s.what) + (s.rests ? " rests" : "") + "; ";
    CHECK(job.compare(s.offset - 100, 4, "M118") == 0);
  }
  CHECK(out == "0 start rests; 1 leave; 1 there rests; 1 ready rests; 2 leave rests; ");
}

TEST_CASE("the mark of an echo says by how much it may be early") {
  const std::string echo = "M118 forewarm 3 leave ;fw+ echo: change 3, T0 to T1";
  CHECK(says_of({"G1 X3", echo}) == "3 leave rests; ");
  CHECK(says_of({"G1 X3", echo + ", may be up to 0.1 s early"}) == "3 leave rests; ");
  CHECK(says_of({"G1 X3", echo + ", may be up to 4.5 s early"}) == "3 leave; ");
}

TEST_CASE("the marks of a job tell whether its filaments have moved") {
  const auto moved = [](const std::string& line, bool inserted) {
    Script script;
    script.lines("T1\n", 0, false);
    script.lines(line, 3, inserted);
    return script.moved();
  };
  CHECK(moved(" ;fw+ mapped T0 to T3, T3 to T0\n", true));
  CHECK_FALSE(moved("M104 T1 S200 ;fw+ preheat: 3 s ahead\n", true));
  CHECK_FALSE(moved("; ;fw+ mapped T0 to T3\n", false));
}

TEST_CASE("what is no echo says nothing") {
  for (const char* line :
       {"; M118 forewarm 3 leave", "M118 forewarm leave ;fw+ x", "M118 forewarm 3 left ;fw+ x",
        "M118 forewarm -3 leave ;fw+ x", "M118 forewarm 3leave ;fw+ x", "M118 forewarm 3 ;fw+ x",
        "M117 hello ;fw+ forewarm 3 leave"}) {
    CAPTURE(line);
    CHECK(says_of({line}).empty());
  }
}

TEST_CASE("lines of step sequences that stand together are one run") {
  Script script;
  script.lines("G1 E4 ;fw+ step tuck: a\n", 100, true);
  script.lines("G1 Z1 ;fw+ step tuck: a\n", 124, true);
  script.lines("G1 X3\n", 148, false);
  script.lines("G1 E4 ;fw+ step tuck: a\n", 154, true);
  REQUIRE(script.steps().size() == 2);
  CHECK(script.steps()[0].from == 100);
  CHECK(script.steps()[0].to == 148);
  CHECK(script.steps()[1].from == 154);
}
