// What job/steps.h promises: lines that leave a job as they found it, whatever its modes.
#include "job/steps.h"

#include <fmt/format.h>

#include <random>
#include <vector>

#include "gcode/words.h"
#include "help/dice.h"
#include "help/jobs.h"
#include "motion/move_timer.h"

using namespace forewarm;

namespace {

struct Sum final : motion::MoveTimer::Listener {
  double seconds = 0;
  void timed(std::span<const motion::Timed> moves) override {
    for (const motion::Timed& m : moves) seconds += m.seconds;
  }
};

// A state, as the lines that lead to it.
gcode::State state_after(const std::vector<std::string>& lines) {
  gcode::State state;
  gcode::Words words;
  gcode::Effect effect;
  for (const std::string& line : lines) {
    gcode::parse(line, words);
    gcode::apply(words, state, effect);
  }
  return state;
}

// Read from a rule file, so that what is tried is what people write. `steps`: the inside of [ ].
rules::Sequence sequence_of(const std::string& steps) {
  const rules::Rules rules =
      test::rules_of(std::string(test::kTwoHeads) + "[steps]\ncharge = [ " + steps + " ]\n");
  REQUIRE(rules.steps.size() == 1);
  return rules.steps[0];
}

// Of demo.toml, hot at 210 C and no warmer than 290.
job::StepQuestion question_of(const gcode::State& state) {
  job::StepQuestion q;
  q.state = state;
  q.limits.max_speed = {350, 350, 15, 70};
  q.travel_mm = {{{0, 320}, {0, 300}, {0, 260}}};
  q.work_c = q.after_c = 210;
  q.max_c = 290;
  return q;
}

std::string text_of(const job::StepBlock& block) {
  std::string out;
  for (const job::StepLine& line : block.lines) {
    if (!out.empty()) out += " | ";
    switch (line.kind) {
      case job::StepLine::Kind::text:
        out += line.text;
        break;
      case job::StepLine::Kind::set:
        out += fmt::format("set {:g}", line.temp_c);
        break;
      case job::StepLine::Kind::wait:
        out += fmt::format("wait {:g}", line.temp_c);
        break;
    }
  }
  return out;
}

std::string written(const rules::Sequence& sequence, const job::StepQuestion& question) {
  const auto block = job::lines_of(sequence, question);
  return block ? text_of(*block) : "error: " + render(block.error());
}

// Where a slicer's job is at a change: absolute, E relative, retracted, feed of a travel.
const std::vector<std::string> kUsual{"G90", "M83", "G1 X100 Y80 Z5 E10 F9000"};

std::vector<std::string> usual_and(const std::vector<std::string>& more) {
  std::vector<std::string> lines = kUsual;
  lines.insert(lines.end(), more.begin(), more.end());
  return lines;
}

}  // namespace

TEST_CASE("steps as lines") {
  struct Row {
    const char* steps;
    const char* lines;
  };
  const Row row = GENERATE(values<Row>({
      {"", ""},
      {"{ back = true }", ""},
      {"{ feed_mm = 0 }", ""},
      // The sequences of demo.toml.
      {"{ feed_mm = -12, speed_mm_s = 35 }, { lift_mm = 0.8 }",
       "G1 E-12 F2100 | G1 Z5.8 F900 | G1 Z5 F900 | G92 E10 | G1 F9000"},
      {"{ feed_mm = 12, speed_mm_s = 12 }, { back = true }", "G1 E12 F720 | G92 E10 | G1 F9000"},
      {"{ feed_mm = 4, speed_mm_s = 14 }, { feed_mm = -22, speed_mm_s = 60 }, { dwell_s = 1.5 }",
       "G1 E4 F840 | G1 E-22 F3600 | G4 P1500 | G92 E10 | G1 F9000"},
      {"{ move_mm = { x = 310, y = 20 }, speed_mm_s = 200 }, { feed_mm = 40, speed_mm_s = 4 }, "
       "{ back = true }",
       "G1 Z6 F900 | G1 X310 Y20 F12000 | G1 E40 F240 | G1 X100 Y80 F12000 | G1 Z5 F900 | "
       "G92 E10 | G1 F9000"},
      {"{ fan = 1.0 }, { temp_c = 200 }, { wait = true }, { temp_offset_c = -15 }, "
       "{ gcode = \"M400\", seconds = 0.5 }",
       "M106 S255 | set 200 | wait 200 | set 195 | M400 | set 210 | M107"},
      // Default speeds: the job's feed, as far as the axis goes; given ones as they are.
      {"{ feed_mm = 1 }, { feed_mm = -1 }", "G1 E1 F4200 | G1 E-1 F4200 | G1 F9000"},
      {"{ lift_mm = 2, speed_mm_s = 99.5 }", "G1 Z7 F5970 | G1 Z5 F900 | G1 F9000"},
      {"{ lift_mm = 2, speed_mm_s = 8 }, { move_mm = { x = 1 } }",
       "G1 Z7 F480 | G1 X1 F9000 | G1 X100 F9000 | G1 Z5 F900 | G1 F9000"},
      // z: up first, down last.
      {"{ move_mm = { x = 1, z = 30 }, speed_mm_s = 10 }",
       "G1 Z30 F600 | G1 X1 F600 | G1 X100 F9000 | G1 Z5 F900 | G1 F9000"},
      {"{ move_mm = { x = 1, y = 2, z = 3 }, speed_mm_s = 100 }",
       "G1 Z6 F900 | G1 X1 Y2 F6000 | G1 Z3 F900 | G1 Z6 F900 | G1 X100 Y80 F9000 | G1 Z5 F900 | "
       "G1 F9000"},
      {"{ move_mm = { x = 1, z = 5.5 } }",
       "G1 Z5.5 F900 | G1 Z6 F900 | G1 X1 F9000 | G1 Z5.5 F900 | G1 Z6 F900 | G1 X100 F9000 | "
       "G1 Z5 F900 | G1 F9000"},
      {"{ move_mm = { z = 3 } }", "G1 Z3 F900 | G1 Z5 F900 | G1 F9000"},
      {"{ move_mm = { z = 3 } }, { move_mm = { y = 80.5 } }, { move_mm = { y = 80 } }",
       "G1 Z3 F900 | G1 Z6 F900 | G1 Y80.5 F9000 | G1 Y80 F9000 | G1 Z5 F900 | G1 F9000"},
      {"{ move_mm = { x = 100, y = 80, z = 5 } }", ""},
      // What a step has lifted is enough.
      {"{ lift_mm = 0.4 }, { move_mm = { x = 1, z = 2 } }, { move_mm = { x = 2 } }",
       "G1 Z5.4 F900 | G1 X1 F9000 | G1 Z2 F900 | G1 Z5.4 F900 | G1 X2 F9000 | G1 X100 F9000 | "
       "G1 Z5 F900 | G1 F9000"},
      {"{ lift_mm = 0.4 }, { back = true }, { move_mm = { x = 1 } }, { back = true }",
       "G1 Z5.4 F900 | G1 Z5 F900 | G1 Z5.4 F900 | G1 X1 F9000 | G1 X100 F9000 | G1 Z5 F900 | "
       "G1 F9000"},
      {"{ lift_mm = 1000 }, { lift_mm = 1 }", "G1 Z260 F900 | G1 Z5 F900 | G1 F9000"},
      // Filament: only what is left over is set.
      {"{ feed_mm = -3 }, { feed_mm = 3 }", "G1 E-3 F4200 | G1 E3 F4200 | G1 F9000"},
      {"{ feed_mm = 0.1234567 }", "G1 E0.1234567 F4200 | G92 E10 | G1 F9000"},
      {"{ feed_mm = -0.1, speed_mm_s = 150 }", "G1 E-0.1 F9000 | G92 E10"},
      {"{ feed_mm = -0.00001 }", "G1 E-0.00001 F4200 | G92 E10 | G1 F9000"},
      // Nothing moves: no modes.
      {"{ dwell_s = 0 }", "G4 P0"},
      {"{ dwell_s = 0.0015 }, { dwell_s = 86400 }", "G4 P1.5 | G4 P86400000"},
      {"{ fan = 0.3 }, { fan = 0 }", "M106 S77 | M107"},
      {"{ fan = 0 }", "M107"},
      {"{ gcode = \"M117 purging now\" }", "M117 purging now"},
      {"{ gcode = \"BRUSH_NOZZLE TIMES=3\", seconds = 8 }", "BRUSH_NOZZLE TIMES=3"},
      {"{ gcode = \"M106 S9\" }", "M106 S9 | M107"},
      {"{ gcode = \"M106 P2 S9\" }", "M106 P2 S9"},
      {"{ gcode = \"M300 S440 P200\" }, { gcode = \"G4 S2\" }", "M300 S440 P200 | G4 S2"},
      // Temperatures.
      {"{ temp_c = 0 }", "set 0 | set 210"},
      {"{ temp_offset_c = -500 }", "set 0 | set 210"},
      {"{ temp_c = 210 }", "set 210"},
      {"{ temp_c = 290 }, { wait = true }, { temp_offset_c = 0 }, { wait = true }",
       "set 290 | wait 290 | set 210 | wait 210"},
      {"{ wait = true }", "wait 210"},
      {"{ temp_c = 180 }, { feed_mm = -30, speed_mm_s = 150 }",
       "set 180 | G1 E-30 F9000 | set 210 | G92 E10"},
      {"{ temp_c = 180 }, { wait = true }, { temp_c = 220 }, { wait = true }, "
       "{ feed_mm = 3, speed_mm_s = 150 }",
       "set 180 | wait 180 | set 220 | wait 220 | G1 E3 F9000 | set 210 | G92 E10"},
      {"{ temp_c = 240 }, { feed_mm = 3, speed_mm_s = 150 }",
       "set 240 | G1 E3 F9000 | set 210 | G92 E10"},
      // ... before the way back.
      {"{ move_mm = { x = 1 } }, { temp_c = 180 }",
       "G1 Z6 F900 | G1 X1 F9000 | set 180 | set 210 | G1 X100 F9000 | G1 Z5 F900 | G1 F9000"},
  }));
  INFO(row.steps);
  CHECK(written(sequence_of(row.steps), question_of(state_after(kUsual))) == row.lines);
}

TEST_CASE("what state the job is in") {
  struct Row {
    std::vector<std::string> job;
    const char* steps;
    const char* lines;
  };
  static const char* const kFeed = "{ feed_mm = -12, speed_mm_s = 35 }";
  static const char* const kLift = "{ lift_mm = 1, speed_mm_s = 10 }";
  static const char* const kDwell = "{ dwell_s = 1 }";
  const std::vector<Row> rows{
      // E
      {usual_and({"M82"}), kFeed, "M83 | G1 E-12 F2100 | M82 | G92 E10 | G1 F9000"},
      {usual_and({"M82"}), kDwell, "G4 P1000"},
      {usual_and({"G92 E0"}), kFeed, "G1 E-12 F2100 | G92 E0 | G1 F9000"},
      {usual_and({"G1 E1234.56789"}), kFeed, "G1 E-12 F2100 | G92 E1244.56789 | G1 F9000"},
      {usual_and({"M82", "G92 E-0.8"}), kFeed, "M83 | G1 E-12 F2100 | M82 | G92 E-0.8 | G1 F9000"},
      // Absolute and relative.
      {usual_and({"G91"}), kFeed, "G90 | M83 | G1 E-12 F2100 | G91 | M83 | G92 E10 | G1 F9000"},
      {usual_and({"G91", "M83"}), kFeed,
       "G90 | M83 | G1 E-12 F2100 | G91 | M83 | G92 E10 | G1 F9000"},
      // Where G90 and G91 set the mode of E, too, what was said last comes last.
      {usual_and({"G90"}), kFeed, "M83 | G1 E-12 F2100 | G90 | G92 E10 | G1 F9000"},
      {usual_and({"M82", "G90"}), kFeed, "M83 | G1 E-12 F2100 | M82 | G92 E10 | G1 F9000"},
      {usual_and({"G91", "M82"}), kFeed,
       "G90 | M83 | G1 E-12 F2100 | G91 | M82 | G92 E10 | G1 F9000"},
      {usual_and({"M82", "G91"}), kFeed,
       "G90 | M83 | G1 E-12 F2100 | M82 | G91 | G92 E10 | G1 F9000"},
      {usual_and({"G91"}), kLift, "G90 | M83 | G1 Z6 F600 | G1 Z5 F900 | G91 | M83 | G1 F9000"},
      {usual_and({"G91"}), kDwell, "G4 P1000"},
      // Inches: E and feed in the job's own.
      {{"G20", "M83", "G1 X4 Y3 Z0.2 E0.5 F300"},
       kFeed,
       "G21 | G1 E-12 F2100 | G20 | G92 E0.5 | G1 F300"},
      {{"G20", "G1 X4 Y3 Z0.2 E0.5 F301.5"},
       kLift,
       "G21 | M83 | G1 Z6.08 F600 | G1 Z5.08 F900 | M82 | G20 | G1 F301.5"},
      {{"G20", "M83", "G1 E0.123456789 F300"},
       kFeed,
       "G21 | G1 E-12 F2100 | G20 | G92 E0.12345679 | G1 F300"},
      // Planes say nothing.
      {usual_and({"G18"}), kFeed, "G1 E-12 F2100 | G92 E10 | G1 F9000"},
      {usual_and({"G19", "G2 Y80 Z5 J1"}), kLift, "G1 Z6 F600 | G1 Z5 F900 | G1 F9000"},
      // Inverse time: F is no feed there.
      {usual_and({"G93", "G1 X101 F30"}), kFeed, "G94 | G1 E-12 F2100 | G92 E10 | G1 F9000 | G93"},
      {usual_and({"G93"}), kDwell, "G4 P1000"},
      {{"M83", "G20", "G91", "G1 X4 E1 F100", "G93", "G18", "M106 S30"},
       "{ feed_mm = -12, speed_mm_s = 35 }, { fan = 1 }",
       "G94 | G21 | G90 | M83 | G1 E-12 F2100 | M106 S255 | M106 S30 | G91 | M83 | G20 | G92 E1 | "
       "G1 F100 | G93"},
      // Motions in force.
      {usual_and({"G0 X90"}), kFeed, "G1 E-12 F2100 | G92 E10 | G0 F9000"},
      {usual_and({"G0 X90 F2100"}), kFeed, "G1 E-12 F2100 | G92 E10 | G0 F2100"},
      {usual_and({"G1 X90 F2100"}), kFeed, "G1 E-12 F2100 | G92 E10"},
      {usual_and({"G2 X110 I5"}), kFeed, "G1 E-12 F2100 | G92 E10 | G1 F9000"},
      {usual_and({"G3 X110 I5 F2100"}), kFeed, "G1 E-12 F2100 | G92 E10"},
      {usual_and({"G2 X110 I5"}), kDwell, "G4 P1000"},
      {usual_and({"G80"}), kFeed, "G1 E-12 F2100 | G92 E10 | G1 F9000 | G80"},
      {usual_and({"G1 F2100", "G80"}), kFeed, "G1 E-12 F2100 | G92 E10 | G80"},
      {usual_and({"G80"}), kDwell, "G4 P1000"},
      {{"M83"}, kFeed, "G1 E-12 F2100 | G92 E0 | G1 F1500 | G80"},
      // Feeds of many digits, great and small.
      {usual_and({"G1 F1234.5678"}), kFeed, "G1 E-12 F2100 | G92 E10 | G1 F1234.5678"},
      {usual_and({"G1 F0.000001"}), kFeed, "G1 E-12 F2100 | G92 E10 | G1 F0.000001"},
      {usual_and({"G1 F10000000000000000000000"}), kFeed,
       "G1 E-12 F2100 | G92 E10 | G1 F10000000000000000000000"},
      // Origins: lines are in the job's coordinates, move_mm and travel in the machine's.
      {usual_and({"G92 X0 Y0 Z0"}), "{ move_mm = { x = 310, y = 20 } }",
       "G1 Z1 F900 | G1 X210 Y-60 F9000 | G1 X0 Y0 F9000 | G1 Z0 F900 | G1 F9000"},
      {usual_and({"G92 Z255"}), "{ lift_mm = 1000 }", "G1 Z510 F900 | G1 Z255 F900 | G1 F9000"},
      {usual_and({"G92 X-7.25"}), "{ lift_mm = 2 }, { move_mm = { x = 0, y = 0 } }",
       "G1 Z7 F900 | G1 X-107.25 Y0 F9000 | G1 X-7.25 Y80 F9000 | G1 Z5 F900 | G1 F9000"},
      // Sums that are no short decimals.
      {usual_and({"G91", "G1 X0.1", "X0.1", "X0.1", "Z0.7", "Z0.1"}), "{ move_mm = { x = 1 } }",
       "G90 | M83 | G1 Z6.8 F900 | G1 X1 F9000 | G1 X100.3 F9000 | G1 Z5.8 F900 | G91 | M83 | "
       "G1 F9000"},
      {usual_and({"G1 X33.333333 Y66.6666667 Z0.1234567"}), "{ move_mm = { x = 1, y = 2 } }",
       "G1 Z1.1234567 F900 | G1 X1 Y2 F9000 | G1 X33.333333 Y66.6666667 F9000 | "
       "G1 Z0.1234567 F900 | G1 F9000"},
      {usual_and({"G1 X-0.00000001 E-0.00000001"}),
       "{ move_mm = { x = 1 } }, { feed_mm = -1 }, { back = true }",
       "G1 Z6 F900 | G1 X1 F9000 | G1 E-1 F4200 | G1 X0 F9000 | G1 Z5 F900 | G92 E10 | G1 F9000"},
      {usual_and({"M82", "G1 E-0.00000001"}), kFeed,
       "M83 | G1 E-12 F2100 | M82 | G92 E0 | G1 F9000"},
      // Fans.
      {usual_and({"M106 S127.5"}), "{ fan = 0 }", "M107 | M106 S127.5"},
      {usual_and({"M106"}), "{ fan = 1 }", "M106 S255"},
      {usual_and({"M106 S128"}), "{ gcode = \"M107\" }", "M107 | M106 S128"},
      {usual_and({"M106 S128"}), kDwell, "G4 P1000"},
      // At the top.
      {usual_and({"G1 Z259.5"}), "{ lift_mm = 1 }", "G1 Z260 F900 | G1 Z259.5 F900 | G1 F9000"},
      {usual_and({"G1 Z259.5"}), "{ lift_mm = 0.5 }, { move_mm = { x = 1 } }",
       "G1 Z260 F900 | G1 X1 F9000 | G1 X100 F9000 | G1 Z259.5 F900 | G1 F9000"},
      {usual_and({"G1 Z259"}), "{ move_mm = { x = 1 } }",
       "G1 Z260 F900 | G1 X1 F9000 | G1 X100 F9000 | G1 Z259 F900 | G1 F9000"},
      {usual_and({"G1 Z260"}), kLift, ""},
      {usual_and({"M82", "G1 Z260"}), kLift, ""},
      // Where the machine should not be, but is: what does not move there is not our business.
      {usual_and({"G1 X-20 Z270"}), "{ feed_mm = -1 }, { lift_mm = 1 }",
       "G1 E-1 F4200 | G92 E10 | G1 F9000"},
      {usual_and({"G1 X-20"}), kLift, "G1 Z6 F600 | G1 Z5 F900 | G1 F9000"},
  };
  for (const Row& row : rows) {
    INFO(row.job.back() << ": " << row.steps);
    CHECK(written(sequence_of(row.steps), question_of(state_after(row.job))) == row.lines);
  }
}

TEST_CASE("around the steps: M400 before, the target after") {
  const auto sequence = sequence_of("{ temp_c = 180 }, { dwell_s = 3 }");
  job::StepQuestion q = question_of(state_after(kUsual));
  q.stop_first = true;
  CHECK(written(sequence, q) == "M400 | set 180 | G4 P3000 | set 210");
  q.wait_after = true;
  CHECK(written(sequence, q) == "M400 | set 180 | G4 P3000 | wait 210");
  CHECK(written(sequence_of("{ temp_c = 180 }, { wait = true }"), q) ==
        "M400 | set 180 | wait 180 | wait 210");
  q.after_c = 170;  // what the gap has for it
  CHECK(written(sequence, q) == "M400 | set 180 | G4 P3000 | wait 170");
  q.after_c = 180;
  CHECK(written(sequence, q) == "M400 | set 180 | G4 P3000");
  q.after_c = 210;
  CHECK(written(sequence_of("{ temp_c = 180 }, { temp_c = 210 }"), q) ==
        "M400 | set 180 | set 210 | wait 210");
  CHECK(written(sequence_of("{ temp_c = 180 }, { temp_c = 210 }, { wait = true }"), q) ==
        "M400 | set 180 | set 210 | wait 210");
  CHECK(written(sequence_of("{ dwell_s = 3 }"), q) == "M400 | G4 P3000");
  CHECK(written(sequence_of("{ back = true }"), q).empty());
  q.state = state_after(usual_and({"M82", "G91"}));
  CHECK(written(sequence_of("{ feed_mm = -1, speed_mm_s = 150 }"), q) ==
        "M400 | G90 | M83 | G1 E-1 F9000 | M82 | G91 | G92 E10");
}

TEST_CASE("steps that are refused") {
  struct Row {
    std::vector<std::string> more;
    const char* steps;
    const char* message;
  };
  static const std::string kOwn =
      "\n  hint: a sequence has to leave the job as it was; see its other actions";
  std::vector<Row> rows{
      // Where the machine does not reach. The machine of the sequences' rule file is endless.
      {{},
       "{ move_mm = { x = 320.1 } }",
       "would move to x = 320.1, outside machine.travel_mm, which is 0 to 320"},
      {{},
       "{ move_mm = { x = 5, y = -1 } }",
       "would move to y = -1, outside machine.travel_mm, which is 0 to 300"},
      {{},
       "{ move_mm = { x = 5, z = 261 } }",
       "would move to z = 261, outside machine.travel_mm, which is 0 to 260"},
      {{},
       "{ move_mm = { z = -0.01 } }",
       "would move to z = -0.01, outside machine.travel_mm, which is 0 to 260"},
      {{"G92 X0"},
       "{ move_mm = { x = 321 } }",
       "would move to x = 321, outside machine.travel_mm, which is 0 to 320"},
      {{"G1 X-20"},
       "{ move_mm = { x = 5 } }",
       "would move back to x = -20, outside machine.travel_mm, which is 0 to 320\n"
       "  hint: the job itself is there; see travel_mm in the rule file"},
      {{"G1 Z-2"},
       "{ lift_mm = 3 }",
       "would move back to z = -2, outside machine.travel_mm, which is 0 to 260\n"
       "  hint: the job itself is there; see travel_mm in the rule file"},
      {{"G1 Z-2"},
       "{ lift_mm = 1 }",
       "would move to z = -1, outside machine.travel_mm, which is 0 to 260"},
      {{"G1 Z259.25"},
       "{ move_mm = { x = 1 } }",
       "has no room to lift the nozzle before it moves in x or y: it started at z = 259.25, and "
       "machine.travel_mm ends at 260"},
      {{"G1 Z259.25"},
       "{ lift_mm = 5 }, { move_mm = { x = 1 } }",
       "has no room to lift the nozzle before it moves in x or y: it started at z = 259.25, and "
       "machine.travel_mm ends at 260"},
      {{"G1 Z259.25"},
       "{ move_mm = { y = 1, z = 260 } }",
       "has no room to lift the nozzle before it moves in x or y: it started at z = 259.25, and "
       "machine.travel_mm ends at 260"},
      {{"G1 Z300"},
       "{ move_mm = { y = 1, z = 100 } }",
       "has no room to lift the nozzle before it moves in x or y: it started at z = 300, and "
       "machine.travel_mm ends at 260"},
      // Cold.
      {{},
       "{ temp_c = 209 }, { feed_mm = 1 }",
       "feeds filament at 209 C, which is worked at 210 C\n"
       "  hint: give a temp_c or temp_offset_c before feed_mm, and wait"},
      {{},
       "{ temp_c = 0 }, { wait = true }, { feed_mm = 0.1 }",
       "feeds filament at 0 C, which is worked at 210 C\n"
       "  hint: give a temp_c or temp_offset_c before feed_mm, and wait"},
      {{},
       "{ temp_offset_c = -0.5 }, { feed_mm = -1 }, { feed_mm = 1 }",
       "feeds filament at 209.5 C, which is worked at 210 C\n"
       "  hint: give a temp_c or temp_offset_c before feed_mm, and wait"},
      {{},
       "{ temp_c = 180 }, { temp_c = 210 }, { feed_mm = 1 }",
       "feeds filament that may not be at 210 C yet\n"
       "  hint: add { wait = true } before feed_mm"},
      {{},
       "{ temp_c = 180 }, { wait = true }, { temp_c = 250 }, { feed_mm = 1 }",
       "feeds filament that may not be at 210 C yet\n"
       "  hint: add { wait = true } before feed_mm"},
      // Hot. The rule file has 290 as well, but takes an offset for what it is.
      {{}, "{ temp_offset_c = 80.5 }", "sets a target of 290.5 C, above max_c = 290"},
      {{},
       "{ temp_c = 290 }, { temp_offset_c = 400 }",
       "sets a target of 610 C, above max_c = 290"},
      {{"G1 E999999980"}, "{ feed_mm = 100 }", "cannot be done: no machine reaches this far"},
  };
  for (const Row& row : rows) {
    INFO(row.steps);
    CHECK(written(sequence_of(row.steps), question_of(state_after(usual_and(row.more)))) ==
          std::string("error: the step sequence \"charge\" ") + row.message);
  }

  struct Line {
    const char* line;
    const char* why;
  };
  const std::vector<Line> lines{
      {"G0", "moves"},
      {"G1 X5", "moves"},
      {"g1x5", "moves"},
      {"G1 E5", "moves"},
      {"G2 X5 I2", "moves"},
      {"G5 X1", "moves"},
      {"G12", "moves"},
      {"G29", "moves"},
      {"G30", "moves"},
      {"G38.2 Z-1", "moves"},
      {"G10", "moves filament, or sets an offset"},
      {"G10 P0 S200", "moves filament, or sets an offset"},
      {"G11", "moves filament, or sets an offset"},
      {"M600", "moves"},
      {"M702 T1", "moves"},
      {"M290 Z0.02", "moves"},
      {"X5", "is no command"},
      {"F600", "is no command"},
      {"E-2 F600", "is no command"},
      {"S5", "is no command"},
      {"T1", "selects a tool"},
      {"T", "selects a tool"},
      {"T-1", "selects a tool"},
      {"M6 T1", "selects a tool"},
      {"T1 M6", "selects a tool"},
      {"G28", "homes"},
      {"G28 X", "homes"},
      {"G28.1", "moves"},
      {"M104 S200", "sets a target"},
      {"M104", "sets a target"},
      {"M109 R50 T1", "sets a target"},
      {"M140 S60", "sets a target"},
      {"M190 S60", "sets a target"},
      {"M141 S40", "sets a target"},
      {"M568 P0 S200", "sets a target"},
      {"G92 E0", "sets a position"},
      {"G92", "sets a position"},
      {"G92.1", "sets a position"},
      {"M206 X1", "sets a position"},
      {"M428", "sets a position"},
      {"M84", "lets go of the position"},
      {"M18 X", "lets go of the position"},
      {"G17", "sets a mode"},
      {"G20", "sets a mode"},
      {"G21", "sets a mode"},
      {"G54", "sets a mode"},
      {"G80", "sets a mode"},
      {"G90", "sets a mode"},
      {"G91", "sets a mode"},
      {"G93", "sets a mode"},
      {"G94", "sets a mode"},
      {"M82", "sets a mode"},
      {"M83 ; for the wipe", "sets a mode"},
      {"M400 G91", "sets a mode"},
      {"G4 P1 G91", "sets a mode"},
      {"M201 X500", "sets a limit"},
      {"M203 E20", "sets a limit"},
      {"M204 S500", "sets a limit"},
      {"M205 X5", "sets a limit"},
      {"M207 S1", "sets a limit"},
      {"M220 S50", "sets a limit"},
      {"M221 S90", "sets a limit"},
      {"M566 X300", "sets a limit"},
      {"N5 M400", "has a number or a checksum of its own"},
      {"M400*22", "has a number or a checksum of its own"},
      {"N5 BRUSH", "has a number or a checksum of its own"},
      {"/M400", "cannot be read"},
      {"/G1 X5", "cannot be read"},
      {"M400 $", "cannot be read"},
      {"@pause", "cannot be read"},
      {"[brush]", "cannot be read"},
  };
  for (const Line& l : lines) {
    INFO(l.line);
    CHECK(written(sequence_of(fmt::format("{{ gcode = '{}' }}", l.line)),
                  question_of(state_after(kUsual))) ==
          fmt::format("error: the step sequence \"charge\" has the gcode step \"{}\", which {}{}",
                      l.line, l.why, kOwn));
  }
  // Before a change the heater may be on standby.
  job::StepQuestion q = question_of(state_after(kUsual));
  q.after_c = 170;
  CHECK(written(sequence_of("{ feed_mm = 1 }"), q) ==
        "error: the step sequence \"charge\" feeds filament at 170 C, which is worked at 210 C\n"
        "  hint: give a temp_c or temp_offset_c before feed_mm, and wait");
  CHECK(written(sequence_of("{ temp_offset_c = 0 }, { feed_mm = 1 }"), q) ==
        "error: the step sequence \"charge\" feeds filament that may not be at 210 C yet\n"
        "  hint: add { wait = true } before feed_mm");
  CHECK(written(sequence_of("{ temp_offset_c = 0 }, { wait = true }, { feed_mm = 1 }"), q) ==
        "set 210 | wait 210 | G1 E1 F4200 | set 170 | G92 E10 | G1 F9000");
  CHECK(written(sequence_of("{ feed_mm = -1, speed_mm_s = 150 }"), q) == "G1 E-1 F9000 | G92 E10");

  const auto error = job::lines_of(sequence_of("{ gcode = 'G28' }"), {});
  REQUIRE_FALSE(error.ok());
  CHECK(error.error().kind == Error::Kind::refused);
  CHECK(error.error().line == 0);
  CHECK(error.error().file.empty());
}

namespace {

// Somewhere within the travel of question_of, a few mm below its top, in any modes.
gcode::State random_state(test::Dice& dice) {
  gcode::State s;
  s.position = {dice.between(0, 320), dice.between(0, 300), dice.between(0, 250),
                dice.between(-50, 9000)};
  // Some as jobs write them, some with all the digits that sums come to have.
  if (dice.chance(0.5)) {
    for (double& p : s.position) p = std::round(p * 1000) / 1000;
  }
  for (std::size_t a = 0; a < 4; ++a) {
    if (dice.chance(0.3)) s.offset[a] = dice.between(-200, 200), s.position[a] -= s.offset[a];
  }
  s.relative = dice.chance(0.3);
  s.e_relative = dice.chance(0.5);
  s.e_relative_linked = dice.chance(0.5) ? s.relative : s.e_relative;
  s.inches = dice.chance(0.3);
  s.inverse_time = dice.chance(0.2);
  s.plane =
      std::array{gcode::Plane::xy, gcode::Plane::zx, gcode::Plane::yz}[std::size_t(dice.of(3))];
  s.motion = dice.of(5) - 1;
  s.feed_mm_s = dice.chance(0.5) ? dice.of(200) + 1 : std::exp(dice.between(-9, 9));
  s.tool = dice.of(7) - 1;
  s.fan = dice.chance(0.5) ? dice.of(256) : dice.between(0, 255);
  return s;
}

// What a rule file may say, and lines_of does not refuse: filament is fed hot only.
rules::Sequence random_sequence(test::Dice& dice, bool feeds_only) {
  using Action = rules::Step::Action;
  rules::Sequence out{"random", {}};
  bool hot = true;
  for (int left = dice.of(9); left > 0; --left) {
    rules::Step s;
    const bool speed = dice.chance(0.5);
    s.action = feeds_only ? Action::feed : Action(dice.of(11));
    switch (s.action) {
      case Action::feed:
        s.amount = dice.between(-60, hot ? 60 : 0);
        if (dice.chance(0.5)) s.amount = std::trunc(s.amount);
        break;
      case Action::make_up:
        s.amount = dice.between(0.01, 5);
        if (!hot) continue;
        break;
      case Action::lift:
        s.amount = dice.chance(0.1) ? 1000 : dice.between(0.01, 5);
        break;
      case Action::dwell:
        s.amount = dice.between(0, 3);
        break;
      case Action::move:
        for (std::size_t a = 0; a < 3; ++a) {
          if (dice.chance(0.6)) s.move_mm[a] = dice.between(0, a == 2 ? 260 : 300);
        }
        break;
      case Action::temp:
        s.amount = dice.between(150, 290);
        hot = false;
        break;
      case Action::temp_offset:
        s.amount = dice.between(-60, 60);
        hot = false;
        break;
      case Action::wait:
        // Reached or not, it is hot enough once it has been told so.
        out.steps.push_back({Action::temp_offset, dice.between(0, 30), {}, {}, {}, 0});
        hot = true;
        break;
      case Action::fan:
        s.amount = dice.between(0, 1);
        break;
      case Action::gcode:
        s.gcode = std::array{"M400", "M117 hello G91", "BRUSH X=1", "M106 S77",
                             "G4 P250"}[std::size_t(dice.of(5))];
        s.seconds = dice.between(0, 4);
        break;
      case Action::back:
        break;
    }
    if (speed) s.speed_mm_s = dice.between(0.5, 400);
    out.steps.push_back(s);
  }
  return out;
}

// Follows `block` from `q` as a machine would and says what is not as promised.
std::string complaints_about(const job::StepBlock& block, const rules::Sequence& sequence,
                             const job::StepQuestion& q) {
  std::string out;
  const auto expect = [&](bool held, const std::string& what) {
    if (!held) out += what + '\n';
  };
  const auto machine = [](const gcode::State& s, std::size_t a) {
    return s.position[a] + s.offset[a];
  };
  // Seconds that the sequence says its gcode steps take, in order.
  std::vector<double> said;
  for (const rules::Step& s : sequence.steps) {
    if (s.action == rules::Step::Action::gcode) said.push_back(s.seconds);
  }
  std::size_t given = 0;

  gcode::State state = q.state;
  gcode::Words words;
  gcode::Effect effect;
  Sum sum;
  motion::MoveTimer clock(q.limits, sum, q.time_scale);
  double fed_mm = 0, passed_s = 0, line_seconds = 0, target_c = q.after_c;
  std::uint64_t tag = 0;
  motion::Limits limits = q.limits;
  for (const job::StepLine& line : block.lines) {
    line_seconds += line.seconds;
    if (line.kind != job::StepLine::Kind::text) {
      if (line.kind == job::StepLine::Kind::wait) clock.stop();
      expect(line.kind == job::StepLine::Kind::set || line.seconds == 0, "a wait takes time");
      target_c = line.temp_c;
      expect(target_c <= q.max_c, "too hot");
      continue;
    }
    const gcode::State before = state;
    gcode::parse(line.text, words);
    gcode::apply(words, state, effect);
    if (effect.limits) limits.take(words);
    expect(effect.trouble == nullptr, "trouble: " + line.text);
    expect(line.seconds >= 0 && std::isfinite(line.seconds), "seconds: " + line.text);
    const auto at_step = [&] {  // whether the line is the next gcode step
      std::size_t n = 0;
      for (const rules::Step& s : sequence.steps) {
        if (s.action == rules::Step::Action::gcode && n++ == given) return s.gcode == line.text;
      }
      return false;
    };
    const bool fan = words.is('M', 106) && line.text != "M106 S77";
    if (!fan && at_step()) {
      clock.stop();
      passed_s += std::max(said[given++], effect.dwell_s);
    } else if (effect.waits_for_moves) {
      clock.stop();
      passed_s += effect.dwell_s;
    }
    if (!effect.moves) continue;
    expect(state.relative == false && state.inches == false && state.inverse_time == false &&
               state.e_relative && state.e_relative_linked,
           "modes of a move: " + line.text);
    expect(effect.delta[3] == 0 || limits.flow_factor == 1, "flow: " + line.text);
    motion::Move m;
    m.delta = effect.delta;
    m.feed_mm_s = effect.feed_mm_s;
    m.length_mm =
        std::sqrt(m.delta[0] * m.delta[0] + m.delta[1] * m.delta[1] + m.delta[2] * m.delta[2]);
    clock.move(m, tag++);
    fed_mm += effect.delta[3];
    expect(m.length_mm == 0 || effect.delta[3] == 0, "feeds on the way: " + line.text);
    expect(effect.delta[3] <= 0 || target_c >= q.work_c - 1e-6, "feeds cold: " + line.text);
    for (std::size_t a = 0; a < 3; ++a) {
      const double at = machine(state, a);
      expect(at >= q.travel_mm[a].low - 1e-6 && at <= q.travel_mm[a].high + 1e-6,
             "outside: " + line.text);
    }
    if (effect.delta[0] != 0 || effect.delta[1] != 0) {
      expect(effect.delta[2] == 0, "slanting: " + line.text);
      expect(machine(before, 2) > machine(q.state, 2) + 1e-7, "too low: " + line.text);
    }
  }
  clock.stop();
  expect(std::abs(fed_mm - block.fed_mm) < 1e-9, "fed_mm");
  double should_feed = 0;
  for (const rules::Step& s : sequence.steps) {
    if (s.action == rules::Step::Action::feed) should_feed += s.amount;
    if (s.action == rules::Step::Action::make_up) {
      should_feed += std::min(3.0, std::round(s.amount * q.hot_s / 60 * 100) / 100);
    }
  }
  expect(std::abs(should_feed - block.fed_mm) < 1e-6, "fed_mm is not what the steps say");
  expect(given == said.size(), "a gcode step is missing");
  expect(std::abs(line_seconds - block.seconds) < 1e-9, "seconds of the lines");
  expect(std::abs(sum.seconds + passed_s - block.seconds) < 1e-9 * (1 + block.seconds),
         fmt::format("seconds: {} are {}", block.seconds, sum.seconds + passed_s));
  expect(target_c == q.after_c, "the target");

  expect(std::abs(limits.flow_factor - q.limits.flow_factor) < 1e-8, "the flow");
  limits.flow_factor = q.limits.flow_factor;
  expect(limits == q.limits, "a limit");
  gcode::State was = q.state;
  expect(block.lifted_mm >= 0 && (q.lift_lasts || block.lifted_mm == 0), "lifted");
  was.position[2] += block.lifted_mm;
  for (std::size_t a = 0; a < 4; ++a) {
    expect(std::abs(state.position[a] - was.position[a]) < 1e-6, fmt::format("position {}", a));
    state.position[a] = was.position[a];
  }
  expect(std::abs(state.offset[3] - was.offset[3] - block.fed_mm) < 1e-6, "machine's E");
  state.offset[3] = was.offset[3];
  expect(std::abs(state.feed_mm_s - was.feed_mm_s) < 1e-6, "feed");
  state.feed_mm_s = was.feed_mm_s;
  expect(std::abs(state.fan - was.fan) < 1e-6, "fan");
  state.fan = was.fan;
  if (was.motion > 1 && state.motion == 1) state.motion = was.motion;
  expect(state == was, "another mode");
  return out;
}

// The same of lines that come down from where `from` is by as much as they are said to lift less.
std::string lowering_complaints(const job::StepBlock& lower, const job::StepQuestion& from) {
  std::string out;
  gcode::State state = from.state;
  gcode::Words words;
  gcode::Effect effect;
  double down_mm = 0;
  for (const job::StepLine& line : lower.lines) {
    gcode::parse(line.text, words);
    gcode::apply(words, state, effect);
    if (!effect.moves) continue;
    down_mm -= effect.delta[2];
    if (effect.delta[0] != 0 || effect.delta[1] != 0 || effect.delta[3] != 0) {
      out += "moves otherwise: " + line.text + '\n';
    }
  }
  if (std::abs(down_mm + lower.lifted_mm) > 1e-6) out += fmt::format("comes down {}\n", down_mm);
  gcode::State was = from.state;
  if (std::abs(state.feed_mm_s - was.feed_mm_s) > 1e-6) out += "feed after coming down\n";
  state.feed_mm_s = was.feed_mm_s;
  was.position[2] = state.position[2];
  if (was.motion > 1 && state.motion == 1) state.motion = was.motion;
  if (std::abs(state.position[3] - was.position[3]) > 1e-6) out += "E after coming down\n";
  state.position[3] = was.position[3];
  if (!(state == was)) out += "another mode after coming down\n";
  return out;
}

}  // namespace

TEST_CASE("a lift before a select lasts, and what follows the select ends it") {
  job::StepQuestion q = question_of(state_after(usual_and({"G91"})));
  const auto sequence = sequence_of("{ feed_mm = -12, speed_mm_s = 35 }, { lift_mm = 0.8 }");
  CHECK(written(sequence, q) ==
        "G90 | M83 | G1 E-12 F2100 | G1 Z5.8 F900 | G1 Z5 F900 | G91 | M83 | G92 E10 | G1 F9000");
  q.lift_lasts = true;
  CHECK(written(sequence, q) ==
        "G90 | M83 | G1 E-12 F2100 | G1 Z5.8 F900 | G91 | M83 | G92 E10 | G1 F9000");
  CHECK(job::lines_of(sequence, q)->lifted_mm == Approx(0.8));
  CHECK(text_of(*job::lowering_lines(0.8, q)) == "G90 | M83 | G1 Z5 F900 | G91 | M83 | G1 F9000");
  // Back by itself; and from elsewhere, above the part.
  const auto ends = [&](const char* steps) { return job::lines_of(sequence_of(steps), q); };
  CHECK(ends("{ lift_mm = 0.8 }, { back = true }")->lifted_mm == 0);
  CHECK(ends("{ move_mm = { x = 1, z = 2 } }")->lifted_mm == Approx(job::kLeastLiftMm));
  CHECK(ends("{ move_mm = { x = 1, z = 9 } }")->lifted_mm == Approx(4));
}

TEST_CASE("filament is fed at 100 % where the job has another flow") {
  job::StepQuestion q = question_of(state_after(kUsual));
  q.limits.flow_factor = 0.955;
  CHECK(written(sequence_of("{ feed_mm = -12, speed_mm_s = 35 }"), q) ==
        "M221 S100 | G1 E-12 F2100 | M221 S95.5 | G92 E10 | G1 F9000");
  CHECK(written(sequence_of("{ lift_mm = 1 }"), q) == "G1 Z6 F900 | G1 Z5 F900 | G1 F9000");
}

TEST_CASE("whatever the state and the steps, the job is left as it was") {
  const bool feeds_only = GENERATE(false, true);
  test::Dice dice(feeds_only ? 7 : 11);
  std::size_t lines = 0, refused = 0, lifted = 0;
  for (int i = 0; i < 500; ++i) {
    job::StepQuestion q = question_of(random_state(dice));
    q.time_scale = dice.chance(0.5) ? 1 : dice.between(0.5, 2);
    q.limits.speed_factor = dice.chance(0.8) ? 1 : dice.between(0.5, 2);
    q.limits.junction_deviation = dice.chance(0.5) ? 0 : 0.02;
    q.limits.flow_factor = dice.chance(0.7) ? 1 : dice.between(0.5, 1.5);
    q.lift_lasts = dice.chance(0.5);
    q.stop_first = dice.chance(0.5);
    q.wait_after = dice.chance(0.5);
    q.hot_s = dice.chance(0.3) ? 0 : dice.between(0, 600);
    const rules::Sequence sequence = random_sequence(dice, feeds_only);
    const auto block = job::lines_of(sequence, q);
    if (!block) {
      INFO(render(block.error()));
      REQUIRE(block.error().kind == Error::Kind::refused);
      ++refused;
      continue;
    }
    lines += block->lines.size();
    std::string complaints = complaints_about(*block, sequence, q);
    if (block->lifted_mm > 0) {
      ++lifted;
      // Down again, from there, in whatever state the select leaves it.
      job::StepQuestion after = question_of(random_state(dice));
      after.state.position[2] = q.state.position[2];
      after.state.offset[2] = q.state.offset[2];
      auto lower = job::lowering_lines(block->lifted_mm, after);
      REQUIRE(lower);
      job::StepQuestion from = after;
      from.state.position[2] += block->lifted_mm;
      lower->lifted_mm = -block->lifted_mm;
      complaints += lowering_complaints(*lower, from);
    }
    if (complaints.empty()) continue;
    INFO(i << ": " << text_of(*block));
    CHECK(complaints == "");
  }
  CHECK((feeds_only || lifted > 50));
  CHECK(refused < 25);  // that there is something to be refused is for the tables
  CHECK(lines > 1000);
}

TEST_CASE("how long steps take") {
  job::StepQuestion q = question_of(state_after(kUsual));
  // Jerk below any speed here, so that moves start and end at rest.
  q.limits.jerk = {1e-9, 1e-9, 1e-9, 1e-9};
  q.limits.max_accel = {1e9, 1e9, 1e9, 1e9};
  q.limits.accel_print = q.limits.accel_travel = q.limits.accel_retract = 100;
  const auto seconds = [&q](const char* steps) {
    const auto block = job::lines_of(sequence_of(steps), q);
    REQUIRE(block.ok());
    std::string out = fmt::format("{:.4g}:", block->seconds);
    for (const auto& line : block->lines) out += fmt::format(" {:.4g}", line.seconds + 0.0);
    return out;
  };
  // d/v + v/a, from rest to rest.
  CHECK(seconds("{ feed_mm = -20, speed_mm_s = 10 }") == "2.1: 2.1 0 0");
  CHECK(seconds("{ feed_mm = -20, speed_mm_s = 10 }, { dwell_s = 1.5 }, { feed_mm = 20, "
                "speed_mm_s = 5 }") == "7.65: 2.1 1.5 4.05 0");
  CHECK(seconds("{ lift_mm = 3, speed_mm_s = 10 }") == "0.75: 0.4 0.35 0");
  CHECK(seconds("{ gcode = 'BRUSH', seconds = 8 }") == "8: 8");
  CHECK(seconds("{ gcode = 'G4 P500', seconds = 8 }, { gcode = 'G4 P500' }") == "8.5: 8 0.5");
  CHECK(seconds("{ temp_c = 180 }, { wait = true }, { fan = 0.5 }") == "0: 0 0 0 0 0");
  q.time_scale = 2;  // of moves alone
  CHECK(seconds("{ feed_mm = -20, speed_mm_s = 10 }, { dwell_s = 1.5 }") == "5.7: 4.2 1.5 0 0");
}

// 12 mm of 1.75 mm filament are 28.8633825 mm3, 2.405281875 to the mm (published tables, seen).
TEST_CASE("where the job's E words are mm3, so are those of the steps") {
  const auto steps = sequence_of("{ feed_mm = -12, speed_mm_s = 35 }, { feed_mm = 12 }");
  auto question = question_of(state_after(usual_and({"M200 D1.75"})));
  const auto block = job::lines_of(steps, question);
  REQUIRE(block);
  CHECK(text_of(*block).find("G1 E-28.863382") != std::string::npos);
  CHECK(text_of(*block).find("F2100 | G1 E28.863382") != std::string::npos);
  CHECK(block->fed_mm == Approx(0).margin(1e-6));
  const auto in_mm = job::lines_of(steps, question_of(state_after(kUsual)));
  REQUIRE(in_mm);
  CHECK(block->seconds == Approx(in_mm->seconds).epsilon(1e-6));
  // From inches and back, where steps are written in mm.
  question = question_of(state_after(usual_and({"M200 D1.75", "G20"})));
  const auto pull = job::lines_of(sequence_of("{ feed_mm = -12, speed_mm_s = 35 }"), question);
  REQUIRE(pull);
  CHECK(text_of(*pull).find("G21") != std::string::npos);
  CHECK(text_of(*pull).find("G1 E-28.863382") != std::string::npos);
  CHECK(pull->fed_mm == Approx(-12).epsilon(1e-6));
  // What sets the unit of E is refused.
  CHECK(written(sequence_of("{ gcode = \"M200 D1.75\" }"), question).find("which sets a mode") !=
        std::string::npos);
}

TEST_CASE("at which lines motion comes to rest") {
  for (const char* line : {"M400", "m400 ; moves are over", "N12 M400*7", "G4 P100", "G28 X", "M0",
                           "M109 S200", "M190 S60", "T1", "G29"}) {
    CAPTURE(line);
    CHECK(job::rests_at(line));
  }
  for (const char* line : {"", "; M400", "G1 X1", "M104 S200", "M106 S255", "M140 S60", "M118 M400",
                           "M4000", "WAIT_ALL", "G92 E0"}) {
    CAPTURE(line);
    CHECK_FALSE(job::rests_at(line));
  }
}

TEST_CASE("what a line does that must not be put between others") {
  const auto trouble = [](const char* line) {
    const char* what = job::trouble_with_line(line);
    return std::string(what == nullptr ? "none" : what);
  };
  for (const char* line :
       {"M118 forewarm 1 leave", "M117 T1 G28", "M400", "G4 P1", "; a comment", "SAY x=1"}) {
    CAPTURE(line);
    CHECK(trouble(line) == "none");
  }
  CHECK(trouble("G1 X1") == "moves");
  CHECK(trouble("T1") == "selects a tool");
  CHECK(trouble("M82") == "sets a mode");
  CHECK(trouble("M109 S200") == "sets a target");
  CHECK(trouble("N3 M118 x*12") == "has a number or a checksum of its own");
}
