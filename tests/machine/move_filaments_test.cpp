// Jobs of a few lines whose filaments move: what becomes of each line, and which jobs are refused.
#include "machine/move_filaments.h"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "help/jobs.h"
#include "rules/load.h"

using namespace forewarm;
using gcode::ToolMap;

namespace {

// Three toolheads, birch with a feeder. Heater numbers are none of the tools'.
const std::string kMachine = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { index = 5, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 6, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [3]
heater = { index = 7, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";
const std::string kHeaters = "[dialect]\ntemperature_index = \"heater\"\n";

Result<std::vector<gcode::MovedLine>> lines_of(const std::string& text, const ToolMap& map,
                                               const std::string& more) {
  const rules::Rules rules = test::rules_of(kMachine + more);
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) FAIL(render(recogniser.error()));
  TextSource source(text);
  machine::FilamentMove move(rules, *recogniser, map);
  return machine::moved_lines(source, "job.gcode", move);
}

// The job as it becomes, each line that is another with its mark. Lines are parted by " / ", and
// "e" is one that prints.
std::string text_of(const std::string& job) {
  std::string out;
  std::istringstream in(job);
  std::string line;
  const auto put = [&] {
    if (line == "e") line = "G1 X1 E1";
    if (!line.empty()) out += line + "\n";
    line.clear();
  };
  for (std::string word; in >> word;) {
    if (word == "/") {
      put();
    } else {
      line += (line.empty() ? "" : " ") + word;
    }
  }
  put();
  return out;
}
std::string moved(const std::string& job, const ToolMap& map, const std::string& more = "") {
  const std::string text = text_of("M83 / " + job);
  const auto lines = lines_of(text, map, more);
  if (!lines) return render(lines.error());
  std::string out;
  std::size_t at = 0;
  for (const gcode::MovedLine& l : *lines) {
    out += text.substr(at, l.splice.from - at);
    const std::size_t end = l.splice.text.find_last_not_of("\r\n") + 1;
    out += l.splice.text.substr(0, end) + " {" + l.how + "}" + l.splice.text.substr(end);
    at = l.splice.to;
  }
  out += text.substr(at);
  std::string shown;
  std::istringstream in(out);
  std::string line;
  std::getline(in, line);  // M83
  while (std::getline(in, line)) {
    shown += (shown.empty() ? "" : " / ") + (line == "G1 X1 E1" ? "e" : line);
  }
  return shown;
}

}  // namespace

TEST_CASE("targets go with their filaments") {
  const ToolMap swap{{0, 3}, {3, 0}};
  CHECK(moved("M104 T0 S205 / M109 T3 S245 / T0 / e / T3 / M109 S245 / e", swap) ==
        "M104 T3 S205 {T0 to T3} / M109 T0 S245 {T3 to T0} / T3 {T0 to T3} / e / T0 {T3 to T0} / "
        "M109 S245 / e");
  CHECK(moved("M104 T5 S205 / M109 T7 S245 / T0 / e / T3 / M109 T7 S245 / e", swap, kHeaters) ==
        "M104 T7 S205 {heater 5 to 7} / M109 T5 S245 {heater 7 to 5} / T3 {T0 to T3} / e / "
        "T0 {T3 to T0} / M109 T5 S245 {heater 7 to 5} / e");
  // Nothing that the job does not say for itself.
  CHECK(moved("T0 / M104 S205 / e", swap) == "T3 {T0 to T3} / M104 S205 / e");
  CHECK(moved("M105 T0 / T1 / e", {{1, 2}}) == "M105 T0 / T2 {T1 to T2} / e");
  CHECK(moved("M104 T0 / T0 / e", swap, kHeaters) == "M104 T0 / T3 {T0 to T3} / e");
}

TEST_CASE("heaters whose filaments part") {
  // T1 goes to ash, T2 stays in birch.
  const ToolMap map{{1, 0}};
  // In use: for what is selected.
  CHECK(moved("T1 / M109 T6 S200 / e / T2 / M109 T6 S230 / e", map, kHeaters) ==
        "T0 {T1 to T0} / M109 T5 S200 {heater 6 to 5} / e / T2 / M109 T6 S230 / e");
  // Before any of them: for the first.
  CHECK(moved("M109 T6 S200 / T1 / e / T2 / M109 T6 S230 / e", map, kHeaters) ==
        "M109 T5 S200 {heater 6 to 5} / T0 {T1 to T0} / e / T2 / M109 T6 S230 / e");
  // After the last one: for that.
  CHECK(moved("T2 / M109 T6 S230 / e / T1 / M109 T6 S200 / e / M104 T6 S150", map, kHeaters) ==
        "T2 / M109 T6 S230 / e / T0 {T1 to T0} / M109 T5 S200 {heater 6 to 5} / e / "
        "M104 T5 S150 {heater 6 to 5}");
  // The same filament before and after.
  CHECK(moved("T2 / M109 T6 S230 / e / T1 / M109 T6 S200 / e / T3 / M104 T6 S150 / T1 / "
              "M104 T6 S200 / e",
              map, kHeaters) ==
        "T2 / M109 T6 S230 / e / T0 {T1 to T0} / M109 T5 S200 {heater 6 to 5} / e / T3 / "
        "M104 T5 S150 {heater 6 to 5} / T0 {T1 to T0} / M104 T5 S200 {heater 6 to 5} / e");
  // Off is for what is in it.
  CHECK(moved("T1 / M109 T6 S200 / e / M104 T6 S0 / T2 / M109 T6 S230 / e", map, kHeaters) ==
        "T0 {T1 to T0} / M109 T5 S200 {heater 6 to 5} / e / M104 T5 S0 {heater 6 to 5} / T2 / "
        "M109 T6 S230 / e");
}

TEST_CASE("what may be for either of two filaments is refused") {
  const ToolMap map{{1, 0}};
  const std::string either =
      "it cannot be known for which filament \"birch\" is heated here: T1 goes to \"ash\", T2 to "
      "\"birch\"";
  const std::string hint =
      "\n  hint: give this temperature after the select of the tool that it is for, or keep the "
      "two together";
  CHECK(moved("T1 / M109 T6 S200 / e / M104 T6 S230 / T2 / M109 T6 S230 / e", map, kHeaters) ==
        "job.gcode:5:7: " + either + "\n  M104 T6 S230\n        ^" + hint);
  CHECK(moved("T1 / M109 T6 S200 / e / T3 / M104 S200 / e / M109 S150 T6 / e / T2 / e", map,
              kHeaters) == "job.gcode:8:12: " + either + "\n  M109 S150 T6\n             ^" + hint);
  // Also by the rule file's own commands.
  const std::string own =
      "[[recognise]]\nmatch = '^HEAT (?P<heater>\\d+) TO (?P<temp>\\d+)'\nas = \"set\"\n";
  CHECK(moved("T1 / HEAT 6 TO 200 / e / HEAT 6 TO 230 / T2 / M109 S230 / e", map, own) ==
        "job.gcode:5:6: " + either + "\n  HEAT 6 TO 230\n       ^" + hint);
  // No mistake where the two stay together.
  CHECK(moved("T1 / HEAT 6 TO 200 / e / HEAT 6 TO 230 / T2 / e", {{1, 2}, {2, 1}}, own) ==
        "T2 {T1 to T2} / HEAT 6 TO 200 / e / HEAT 6 TO 230 / T1 {T2 to T1} / e");
  CHECK(moved("T3 / HEAT 7 TO 200 / e", {{3, 0}}, own) ==
        "T0 {T3 to T0} / HEAT 5 TO 200 {heater 7 to 5} / e");
}

TEST_CASE("targets that would reach a neighbour are left out") {
  // T0 and T3 come to share birch.
  const ToolMap map{{0, 1}, {3, 2}};
  const std::string start = "T0 / M109 S205 / e / T3 / M109 S245 / ";
  const std::string started = "T1 {T0 to T1} / M109 S205 / e / T2 {T3 to T2} / M109 S245 / ";
  for (const std::string line : {"M104 T0 S175", "M104 T0 S0", "M109 T0 S205", "M104 T0 S245"}) {
    CHECK(moved(start + line + " / e", map) ==
          started + "; {T0 to T1, left out: T2 is in use there} / e");
    std::string heater = line;
    heater[6] = '5';
    CHECK(moved("T0 / M109 S205 / e / T3 / M109 S245 / " + heater + " / e", map, kHeaters) ==
          started + "; {heater 5 to 6, left out: T2 is in use there} / e");
  }
  // What is not moved, but has a new neighbour.
  CHECK(moved("T1 / M109 S205 / e / T3 / M109 S245 / M104 T1 S0 / e", {{3, 2}}) ==
        "T1 / M109 S205 / e / T2 {T3 to T2} / M109 S245 / ; {T1, left out: T2 is in use there} / "
        "e");
  // Before the neighbour's use; and after the last one, where it can do no harm.
  CHECK(moved("M104 T3 S245 / T0 / M109 S205 / e / T3 / M109 S245 / e / M104 T0 S0 / M104 T3 S0",
              map) ==
        "; {T3 to T2, left out: T1 comes next there} / T1 {T0 to T1} / M109 S205 / e / "
        "T2 {T3 to T2} / M109 S245 / e / M104 T1 S0 {T0 to T1} / M104 T2 S0 {T3 to T2}");
  // Without a number it is for what is mounted, or was.
  CHECK(moved("T0 / M109 S205 / e / M104 S0 / T3 / M109 S245 / e", map) ==
        "T1 {T0 to T1} / M109 S205 / e / ; {T0 to T1, left out: T2 comes next there} / "
        "T2 {T3 to T2} / M109 S245 / e");
  // Filaments that had one heater before are as they were.
  CHECK(moved("T1 / M109 S205 / e / M104 T2 S230 / e / T2 / e", {{1, 2}, {2, 1}}) ==
        "T2 {T1 to T2} / M109 S205 / e / M104 T1 S230 {T2 to T1} / e / T1 {T2 to T1} / e");
  // By another's number, but for what is printed.
  CHECK(moved("T1 / M109 S205 / e / M104 T2 S230 / e / T2 / e", {{1, 0}}) ==
        "T0 {T1 to T0} / M109 S205 / e / M104 T0 S230 {T2 to T0} / e / T2 / "
        "M109 T2 S230 {T2, at 230 C as before} / e");
  // Pulling is use, too.
  CHECK(moved(start + "M104 T0 S175 / G1 E-2 / T0 / M109 S205 / e", map) ==
        started +
            "; {T0 to T1, left out: T2 is in use there} / G1 E-2 / T1 {T0 to T1} / "
            "M109 S205 / e");
}

TEST_CASE("a use whose heater neighbours have had waits for its own target") {
  const ToolMap map{{0, 1}, {3, 2}};
  CHECK(moved("M104 T0 S205 / M104 T3 S245 / T0 / e / T3 / e / T0 / e", map) ==
        "M104 T1 S205 {T0 to T1} / ; {T3 to T2, left out: T1 comes next there} / T1 {T0 to T1} / "
        "e / T2 {T3 to T2} / M109 T2 S245 {T3 to T2, at 245 C as before} / e / T1 {T0 to T1} / "
        "M109 T1 S205 {T0 to T1, at 205 C as before} / e");
  // Filaments that part from one heater.
  CHECK(moved("M104 T1 S205 / T1 / e / T2 / e", {{1, 0}}) ==
        "M104 T0 S205 {T1 to T0} / T0 {T1 to T0} / e / T2 / M109 T2 S205 {T2, at 205 C as before} "
        "/ e");
  CHECK(moved("M104 T6 S205 / T1 / e / T2 / e", {{1, 0}}, kHeaters) ==
        "M104 T5 S205 {heater 6 to 5} / T0 {T1 to T0} / e / T2 / "
        "M109 T6 S205 {T2, at 205 C as before} / e");
  // In a numbered job. 125 is the XOR of the bytes of N3 M110 N3.
  const auto numbered = [](int n, const std::string& line) {
    return gcode::numbered_line(n, line);
  };
  const std::string job = numbered(1, "M83") + "\n" + numbered(2, "M104 T0 S205") + "\n" +
                          numbered(3, "M104 T3 S245") + "\n" + numbered(4, "T0") + "\n" +
                          numbered(5, "G1 X1 E1") + "\n" + numbered(6, "T3") + "\n" +
                          numbered(7, "G1 X1 E1") + "\n";
  const auto lines = lines_of(job, map, "");
  REQUIRE(lines);
  REQUIRE(lines->size() == 6);
  CHECK((*lines)[1].splice.text == "N3 M110 N3*125");
  CHECK((*lines)[4].splice.text == numbered(7, "M109 T2 S245") + "\n");
  CHECK((*lines)[5].splice.text == numbered(6, "M110 N6") + "\n");
  CHECK((*lines)[5].how == "line count set back");
  CHECK((*lines)[5].line == 6);
}

TEST_CASE("tools that are only given targets make room") {
  CHECK(moved("T1 / M109 S210 / e / M104 T0 S0 / e / M104 T0 S0 / M104 T1 S0", {{1, 0}}) ==
        "T0 {T1 to T0} / M109 S210 / e / M104 T1 S0 {T0 to T1} / e / M104 T1 S0 {T0 to T1} / "
        "M104 T0 S0 {T1 to T0}");
  // Its new toolhead is used: at the start its lines are left out there, at the end they can do no
  // harm.
  CHECK(moved("M104 T0 S200 / T2 / M109 S205 / e / T1 / M109 S210 / e / M104 T0 S0", {{1, 0}}) ==
        "; {T0 to T1, left out: T2 comes next there} / T2 / M109 S205 / e / T0 {T1 to T0} / "
        "M109 S210 / e / M104 T1 S0 {T0 to T1}");
  // Through a chain of moves.
  CHECK(moved("M105 / T1 / e / T2 / e / M104 T0 S0", {{1, 0}, {2, 1}}) ==
        "M105 / T0 {T1 to T0} / e / T1 {T2 to T1} / e / M104 T2 S0 {T0 to T2}");
  // A number that nothing serves.
  CHECK(moved("M104 T9 S0 / T1 / e", {{1, 0}}) == "M104 T9 S0 / T0 {T1 to T0} / e");
  // By heater: of a toolhead that the job does not use, but will.
  CHECK(moved("M104 T5 S150 / T1 / M109 T6 S210 / e / M104 T5 S0", {{1, 0}}, kHeaters) ==
        "; {heater 5, left out: T0 comes next there} / T0 {T1 to T0} / "
        "M109 T5 S210 {heater 6 to 5} / e / M104 T5 S0");
  // Named otherwise, it counts.
  CHECK(moved("M221 T0 S95 / T1 / e", {{1, 0}}) ==
        "more than one tool of the job would be T0\n  hint: say where that one goes, too");
  CHECK(moved("T0 / e / T1 / e", {{1, 0}}) ==
        "more than one tool of the job would be T0\n  hint: say where that one goes, too");
}

TEST_CASE("before any select") {
  // T0's heater, if no number is given.
  CHECK(moved("M109 S205 / T0 / e", {{1, 2}}) == "M109 S205 / T0 / e");
  CHECK(moved("M109 S205 / T0 / e", {{0, 3}}) ==
        "job.gcode:2:1: a temperature before any tool is selected is for T0, which is to be another"
        "\n  M109 S205\n  ^\n  hint: the job has to say for which tool it is, with a T");
  CHECK(moved("M109 S205 / T3 / M109 S240 / e", {{3, 0}}) ==
        "; {T0 as it was, left out: T0 comes next there} / T0 {T3 to T0} / M109 S240 / e");
  // T0 is what the machine begins with.
  CHECK(moved("M109 S205 / e / M104 T3 S240 / e / T3 / M109 S240 / e", {{3, 1}}) ==
        "M109 S205 / e / M104 T1 S240 {T3 to T1} / e / T1 {T3 to T1} / M109 S240 / e");
  CHECK(moved("T1 / M109 S205 / e / T-1 / e", {{1, 0}, {0, 1}}) ==
        "job.gcode:6:1: T0 moves filament here without being selected, and is to be T1\n"
        "  G1 X1 E1\n  ^\n  hint: there is no line to change: the job has to select it");
}

TEST_CASE("jobs whose temperatures cannot be kept are refused") {
  const ToolMap map{{0, 1}, {3, 2}};
  const std::string shared =
      "a temperature for a filament that moves shares its line with another command";
  const std::string own = "\n  hint: put the commands on lines of their own";
  CHECK(moved("T0 / M109 S205 / e / T3 / M109 S245 / M104 T0 S0 M400 / e", map) ==
        "job.gcode:7:1: " + shared + "\n  M104 T0 S0 M400\n  ^" + own);
  // One number for a tool and a heater: T7 is of a toolhead of its own, heater 7 is cedar's.
  const std::string dill =
      kHeaters +
      "[[toolhead]]\nname = \"dill\"\ntools = [7]\n"
      "heater = { index = 8, power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n";
  CHECK(moved("T7 M109 S205 / M109 T8 S205 / e", {{7, 0}}, dill) ==
        "job.gcode:2:1: " + shared + "\n  T7 M109 S205\n  ^" + own);
  // Its target was never given, but the neighbour's was.
  CHECK(moved("T3 / M109 S245 / e / T0 / e", map) ==
        "job.gcode:6:1: T0 moves filament here, but the job has not given toolhead \"ash\" a "
        "temperature\n  G1 X1 E1\n  ^\n  hint: if it does so in its own way, say how with "
        "[[recognise]] as = \"set\" or \"wait\"");
  // What [dialect] writes is not what the job's reader knows.
  const std::string dialect = "[dialect]\nwait = \"HEAT {tool} {temp}\"\n";
  CHECK(moved("M104 T0 S205 / M104 T3 S245 / T0 / e / T3 / e", map, dialect) ==
        "job.gcode:7:1: T3 moves filament here at 245 C; in toolhead \"birch\" it would at 205 C, "
        "given for another filament\n  G1 X1 E1\n  ^\n  hint: the job has to give T3 its "
        "temperature between its select and here");
  const std::string known =
      dialect + "[[recognise]]\nmatch = '^HEAT (?P<tool>\\d+) (?P<temp>\\d+)'\nas = \"wait\"\n";
  CHECK(moved("M104 T0 S205 / M104 T3 S245 / T0 / e / T3 / e", map, known) ==
        "M104 T1 S205 {T0 to T1} / ; {T3 to T2, left out: T1 comes next there} / T1 {T0 to T1} / "
        "e / T2 {T3 to T2} / HEAT 2 245 {T3 to T2, at 245 C as before} / e");
}

TEST_CASE("a temperature on a line that moves filament is given before that") {
  const std::string by_comment =
      "[[recognise]]\nmatch = '; at T(?P<tool>\\d+) (?P<temp>\\d+)'\nas = \"set\"\n";
  // So no wait has to be put in for T0.
  CHECK(moved("T0 / M109 S205 / e / T3 / M109 S245 / e / T0 / G1 X1 E1 ; at T0 205 / e",
              {{0, 1}, {3, 2}}, by_comment) ==
        "T1 {T0 to T1} / M109 S205 / e / T2 {T3 to T2} / M109 S245 / e / T1 {T0 to T1} / "
        "G1 X1 E1 ; at T1 205 {T0 to T1} / e");
}

TEST_CASE("a line that is for a tool by the rules alone cannot be for another") {
  const std::string fixed =
      "[[recognise]]\nmatch = '^PICK_ASH'\nas = \"change\"\ntool = 0\n"
      "[[recognise]]\nmatch = '^WARM S(?P<temp>\\d+)'\nas = \"set\"\ntool = 1\n";
  const auto refusal = [](int line, const std::string& text, const std::string& what) {
    return "job.gcode:" + std::to_string(line) + ":1: this line is for " + what + "\n  " + text +
           "\n  ^\n  hint: it has no number to change: leave that filament where it is";
  };
  CHECK(moved("T3 / e / PICK_ASH / e", {{0, 3}, {3, 0}}, fixed) ==
        refusal(4, "PICK_ASH", "T0 by a [[recognise]] with a fixed tool, and is to be for T3"));
  // Where that filament stays, others move.
  CHECK(moved("PICK_ASH / e / T3 / e", {{3, 2}}, fixed) == "PICK_ASH / e / T2 {T3 to T2} / e");
  CHECK(moved("PICK_ASH / e / T3 / e", {{3, 0}}, fixed) ==
        "more than one tool of the job would be T0\n  hint: say where that one goes, too");
  // For the heater of birch, where a filament is in use that leaves.
  CHECK(moved("T2 / WARM S210 / e", {{2, 0}}, fixed) ==
        refusal(3, "WARM S210", "T1 by a [[recognise]] with a fixed tool, and is to be for T0"));
}

TEST_CASE("a byte order mark, and endings") {
  const std::string job = "\xef\xbb\xbfT0\r\nM83\r\nG1 E1\r\nT3\r\nM109 S200\r\nG1 E1\r\nT0";
  const auto lines = lines_of(job, {{0, 3}, {3, 0}}, "");
  REQUIRE(lines);
  REQUIRE(lines->size() == 3);
  CHECK((*lines)[0].splice.text == "T3");
  CHECK((*lines)[0].splice.from == 0);
  CHECK((*lines)[0].splice.to == 5);
  CHECK((*lines)[2].splice.to == job.size());
}
