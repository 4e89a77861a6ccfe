// Commands that nobody knows: which count, and how their lines look alike.
#include "job/unknown_commands.h"

#include <catch2/catch.hpp>

#include "gcode/words.h"
#include "help/jobs.h"
#include "job/scan.h"

using namespace forewarm;

namespace {

std::string shape(std::string_view line) {
  gcode::Words words;
  gcode::parse(line, words);
  return job::shape_of(words);
}

bool may_take_time(std::string_view line) {
  gcode::Words words;
  gcode::parse(line, words);
  return job::may_take_time(words);
}

std::string unknown_in(const std::string& text, const std::string& rules = "") {
  TextSource source(text);
  const auto scanned = job::scan(source, test::rules_of(R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)" + rules));
  if (!scanned) FAIL(render(scanned.error()));
  std::string out;
  for (const job::UnknownCommand& c : scanned->unknown) {
    out += std::to_string(c.count) + "x line " + std::to_string(c.line) + " [" + c.shape + "] " +
           c.first_text + "\n";
  }
  return out;
}

}  // namespace

TEST_CASE("shapes of lines: numbers are alike, commands are not") {
  struct Row {
    const char *line, *shape;
  };
  for (const Row& row : {
           Row{"CHANGE_TO 3", "CHANGE_TO #"},
           Row{"  CHANGE_TO   12 ; the next", "CHANGE_TO #"},
           Row{"WARM_HEAD 1 215.5", "WARM_HEAD # #"},
           Row{"PICK H=2 SPEED=10.", "PICK H=# SPEED=#."},
           Row{"PICK_ASH", "PICK_ASH"},
           Row{"G28 X0 Y0", "G28 X# Y#"},
           Row{"N12 M190 S60*7", "M190 S#"},
           Row{"M600.5 T1", "M600.5 T#"},
       }) {
    CAPTURE(row.line);
    CHECK(shape(row.line) == row.shape);
  }
  CHECK(shape("X" + std::string(1000, '_')).size() <= 100);
}

TEST_CASE("what may take time that the job does not show") {
  for (const char* line : {"G28", "G29 P1", "M190 S60", "M600", "M701 T1", "M5000", "CHANGE_TO 3",
                           "PICK_ASH", "G425"}) {
    CAPTURE(line);
    CHECK(may_take_time(line));
  }
  for (const char* line :
       {"", "; PICK_ASH", "G1 X1", "G4 S5", "G92 E0", "T1", "M104 S200", "M109 S200", "M106 S255",
        "M117 hello", "M73 P5", "M204 P500", "M400", "M84", "/ PICK_ASH"}) {
    CAPTURE(line);
    CHECK_FALSE(may_take_time(line));
  }
}

TEST_CASE("the scan counts those that no pattern knows, the most frequent first") {
  const std::string job =
      "M83\nG28\nM104 S200\nWIPE 1\nWIPE 2\nT0\nWIPE 3\nPICK_ASH\nM109 S200\nG1 X1 E1 F600\nG28 "
      "X\n";
  CHECK(unknown_in(job) ==
        "3x line 4 [WIPE #] WIPE 1\n1x line 2 [G28] G28\n1x line 8 [PICK_ASH] PICK_ASH\n"
        "1x line 11 [G28 X] G28 X\n");
  CHECK(unknown_in(job,
                   "[[duration]]\nmatch = '^G28'\nseconds = 20\n"
                   "[[recognise]]\nmatch = '^PICK_ASH'\nas = \"change\"\ntool = 0\n") ==
        "3x line 4 [WIPE #] WIPE 1\n");
}

TEST_CASE("of more shapes than fit, the first are kept") {
  std::string job = "M83\nT0\nM109 S200\nG1 X1 E1 F600\n";
  for (char a = 'A'; a <= 'Z'; ++a) {
    for (char b = 'A'; b <= 'Z'; ++b) job += std::string("WIPE_") + a + b + "\n";
  }
  const std::string found = unknown_in(job);
  CHECK(std::size_t(std::count(found.begin(), found.end(), '\n')) ==
        job::UnknownCommands::kMostShapes);
  CHECK(found.starts_with("1x line 5 [WIPE_AA]"));
}
