// What counts as the end of a job. Common practice, no source.
#include "machine/ending.h"

#include <catch2/catch.hpp>
#include <sstream>
#include <string>

using namespace forewarm;

namespace {

// Of a job that feeds at each line "feed".
machine::Ending ending_of(const std::string& job, int heaters = 1) {
  machine::EndingWatch watch;
  std::istringstream in(job);
  for (std::string line; std::getline(in, line);) {
    if (line == "feed") {
      watch.fed();
    } else {
      gcode::Words words;
      gcode::parse(line, words);
      watch.take(words, false);
    }
  }
  return watch.ending(!job.empty() && job.back() != '\n', heaters);
}

}  // namespace

TEST_CASE("a line after the last feed that ends a job") {
  const char* const ends[] = {"M104 S0", "M104 T1 S0", "M109 S0", "M140 S0",  "M190 R0", "M2",
                              "M18",     "M30",        "M84",     "M81",      "M112",    "G28",
                              "G28 X Y", "T-1",        "END_JOB", "N4 M84*51"};
  for (const char* const line : ends) {
    INFO(line);
    CHECK(!ending_of("M140 S60\nfeed\n" + std::string(line) + "\n").broken_off());
  }
}

TEST_CASE("a line after the last feed that ends nothing") {
  const char* const others[] = {
      "",         "; end", "M107", "M106 S0",   "G1 X0 Y200", "G92 E0", "M104 S1",   "M140",
      "M140 S50", "T0",    "M400", "M117 done", "G4 P0",      "M82",    "M221 S100", "M190 R40"};
  for (const char* const line : others) {
    INFO(line);
    CHECK(ending_of("M140 S60\nfeed\n" + std::string(line) + "\n").broken_off());
    // As soon as it prints again, nothing has ended.
    CHECK(ending_of("M140 S60\nM84\n" + std::string(line) + "\nfeed\n").broken_off());
  }
}

TEST_CASE("what is left on, and where a job breaks off") {
  CHECK(
      ending_of("M140 S60\nfeed\n", 0).warning() ==
      "it breaks off: nothing after its last move that feeds ends it, and it leaves the bed at 60 "
      "C on; is it whole?");
  CHECK(
      ending_of("M190 R60\nfeed\nG1 X", 2).warning() ==
      "it breaks off within a line: nothing after its last move that feeds ends it, and it leaves "
      "the bed at 60 C and 2 toolheads on; is it whole?");
  CHECK(
      ending_of("feed\nG1 X", 1).warning() ==
      "it breaks off within a line: nothing after its last move that feeds ends it, and it leaves "
      "1 toolhead on; is it whole?");
  // A plan switches the heaters off; and a last line without an ending is nothing if all is off.
  CHECK(ending_of("feed\n", 1).warning().empty());
  CHECK(ending_of("feed\nG1 X", 0).warning().empty());
  CHECK(ending_of("M140 S60\nM140 S0\nfeed\n", 1).warning().empty());
}
