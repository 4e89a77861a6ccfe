// rules check, rules new and rules schema, as a newcomer uses them.
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
park_s = 6
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 1, power_w = 60, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 1
material = "PLA"
[material.PLA]
standby_c = 160
[gap]
off_over_s = "best"
[motion]
max_speed_mm_s = { x = 200, y = 200 }
[steps]
tuck = [ { feed_mm = -1 } ]
[[recognise]]
match = '^CHANGE_TO\s+(?P<tool>\d+)'
as = "change"
[[recognise]]
match = '^PICK_ASH'
as = "change"
tool = 0
[[duration]]
match = '^G28'
seconds = 20
)";

const std::string kJob =
    "M83\nG28\nM104 T0 S200\nM104 T1 S210\nCHANGE_TO 0\nM109 T0 S200\nG1 X20 E1 F1200\n"
    "CHANGE_TO 1\nM109 T1 S210\nG1 X10 E1\nG4 S400\nG1 X30 E1\nCHANGE_TO 0\nM109 T0 S200\n"
    "G1 X10 E1\n";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
}

bool has_line(const std::string& text, const std::string& line) {
  return ("\n" + text).find("\n" + line + "\n") != std::string::npos;
}

// A line of a table, with single blanks.
bool has_row(const std::string& text, const std::string& row) {
  std::string squeezed;
  for (const char c : text) {
    const bool blank =
        c == ' ' && (squeezed.empty() || squeezed.back() == ' ' || squeezed.back() == '\n');
    if (!blank) squeezed += c;
  }
  return has_line(squeezed, row);
}

// With every line that is ready to be switched on.
std::string switched_on(const std::string& text) {
  std::string out;
  bool start = true;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool mark =
        start && text[i] == '#' && i + 1 < text.size() && text[i + 1] != ' ' && text[i + 1] != '\n';
    if (!mark) out += text[i];
    start = text[i] == '\n';
  }
  return out;
}

const std::vector<std::string> kFixtures{"trail_map.gcode",          "trail_map_absolute.gcode",
                                         "trail_map_arcs.gcode",     "trail_map_crlf.gcode",
                                         "trail_map_inches.gcode",   "trail_map_lower.gcode",
                                         "trail_map_numbered.gcode", "single_tool.gcode"};

}  // namespace

TEST_CASE("rules check: what is in force, and where it comes from") {
  Bench run;
  furnish(run);
  const Ran ran =
      run("forewarm rules check two.toml --set toolhead.ash.pick_s=9 "
          "--set motion.max_speed_mm_s.z=15");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  for (const char* row : {"[[toolhead]] ash",
                          "park_s 6 two.toml:6",
                          "pick_s 9 --set",
                          "exchange_s 35 default",
                          "tools [0] two.toml:4",
                          "fault_odds none default",
                          "heater.power_w 50 two.toml:5",
                          "heater.index 0 default",
                          "heater.max_c 300 default",
                          "heater.cool_time_constant_s that of warming, time_constant_s default",
                          "[[filament]] T1",
                          "standby_c 160 two.toml:15, material PLA",
                          "name \"T1\" default",
                          "material \"PLA\" two.toml:13",
                          "[gap]",
                          "off_over_s \"best\" two.toml:17",
                          "policy \"lookahead\" default",
                          "max_speed_mm_s { x = 200, y = 200, z = 15, e = 60 }",
                          "two.toml:19, --set",
                          "tuck 1 step two.toml:21",
                          "'^CHANGE_TO\\s+(?P<tool>\\d+)' as = \"change\" two.toml:22",
                          "'^PICK_ASH' as = \"change\", tool = 0 two.toml:25",
                          "'^G28' seconds = 20 two.toml:29"}) {
    CAPTURE(row);
    CHECK(has_row(ran.out, row));
  }
  CHECK(has_row(run("forewarm rules check").out, "off_over_s 3600 built-in guesses:22"));
  const Ran quiet = run("forewarm rules check -q two.toml");
  CHECK(ran.out.starts_with("good: 2 toolheads, 1 filaments\n"));
  CHECK(quiet.out.starts_with("good: 2 toolheads, 1 filaments\n"));
  CHECK(quiet.out.find("default") == std::string::npos);
}

TEST_CASE("rules check --job: how many lines each pattern fits") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm rules check -q two.toml --job job.gcode");
  CHECK(ran.code == 0);
  CHECK(
      ran.out.ends_with("\nlines of job.gcode that each pattern fits\n"
                        "         3  [[recognise]] '^CHANGE_TO\\s+(?P<tool>\\d+)'\n"
                        "         0  [[recognise]] '^PICK_ASH'\n"
                        "         1  [[duration]] '^G28'\n"));
  put(run / "none.toml", kRules.substr(0, kRules.find("[[recognise]]")));
  const Ran none = run("forewarm rules check -q none.toml --job job.gcode");
  CHECK(none.out.find("  the rule file has no patterns\n") != std::string::npos);
  CHECK(run("forewarm rules check -q two.toml --job no.gcode").code == 4);
  put(run / "packed.gcode", std::string("G28\n\0", 5));
  const Ran packed = run("forewarm rules check -q two.toml --job packed.gcode");
  CHECK(packed.code == 3);
  CHECK(packed.err.find("packed.gcode:2:1: the job is not text") != std::string::npos);
  // A job that the rules do not fit is counted all the same.
  put(run / "other.gcode", "T7\nM104 T9 S900\nG28\nG28 X\n");
  CHECK(has_line(run("forewarm rules check -q two.toml --job other.gcode").out,
                 "         2  [[duration]] '^G28'"));
}

TEST_CASE("patterns that fit nothing are said once at the end, and with --verbose how many fit") {
  Bench run;
  furnish(run);
  const std::string none =
      "forewarm: info: patterns of the rule file that no line of the job "
      "matches: [[recognise]] '^PICK_ASH'\n";
  for (const char* command : {"forecast", "rewrite -o new.gcode"}) {
    CAPTURE(command);
    const std::string line = std::string("forewarm ") + command + " --rules two.toml job.gcode ";
    const Ran ran = run(line);
    CHECK(ran.code == 0);
    CHECK(ran.err.ends_with(none));
    CHECK(run(line + "-q").err.empty());
    const Ran verbose = run(line + "--verbose");
    CHECK(verbose.err.ends_with(
        "forewarm: info: [[recognise]] '^CHANGE_TO\\s+(?P<tool>\\d+)': 3 lines\n"
        "forewarm: info: [[recognise]] '^PICK_ASH': 0 lines\n"
        "forewarm: info: [[duration]] '^G28': 1 line\n" +
        none));
  }
  // A rewritten job has the same.
  CHECK(run("forewarm rewrite --rules two.toml new.gcode").err.ends_with(none));
  put(run / "all.gcode", kJob + "PICK_ASH\n");
  CHECK(run("forewarm forecast --rules two.toml all.gcode").err ==
        "forewarm: info: rules: two.toml\n");
}

TEST_CASE("a fixed tool of a pattern selects as a number would") {
  Bench run;
  furnish(run);
  put(run / "fixed.gcode", [] {
    std::string text = kJob;
    for (std::size_t at; (at = text.find("CHANGE_TO 0")) != std::string::npos;) {
      text.replace(at, 11, "PICK_ASH");
    }
    return text;
  }());
  const auto figures = [&](const std::string& job) {
    const Ran ran = run("forewarm forecast -q --rules two.toml --json - " + job);
    REQUIRE(ran.code == 0);
    auto json = nlohmann::json::parse(ran.out);
    return json["policies"];
  };
  CHECK(figures("fixed.gcode") == figures("job.gcode"));
  REQUIRE(run("forewarm rewrite -q --rules two.toml fixed.gcode -o new.gcode").code == 0);
  CHECK(run("forewarm check -q --rules two.toml fixed.gcode new.gcode").code == 0);
  const Ran map = run("forewarm rewrite --rules two.toml fixed.gcode --map 0=1,1=0 -o new.gcode");
  CHECK(map.code == 3);
  CHECK(map.err.find("fixed.gcode:5:1: this line is for T0 by a [[recognise]] with a fixed tool") !=
        std::string::npos);
}

TEST_CASE("a job whose selects nobody knows gets a hint with what to write") {
  Bench run;
  furnish(run);
  put(run / "plain.toml", kRules.substr(0, kRules.find("[[recognise]]")));
  const std::string hint =
      "job.gcode: the job waits for 2 heaters, but selects no tool; of its commands these are not "
      "known, the most frequent first:\n"
      "  3 times, first in line 5: CHANGE_TO 0\n"
      "  once, first in line 2: G28\n"
      "where one of them selects a tool, write into the rule file:\n"
      "  [[recognise]]\n"
      "  match = '^CHANGE_TO\\s+(?P<tool>\\d+)'\n"
      "  as = \"change\"\n"
      "where one takes time, with what your watch says, and 0 where it takes none:\n"
      "  [[duration]]\n"
      "  match = '^CHANGE_TO\\b'\n"
      "  seconds = 0\n";
  CHECK(run("forewarm forecast --rules plain.toml job.gcode").err.find("info: " + hint) !=
        std::string::npos);
  CHECK(run("forewarm rewrite --rules plain.toml job.gcode -o new.gcode").err.find(hint) !=
        std::string::npos);
  const std::string of_check = hint.substr(hint.find("the job"));
  CHECK(run("forewarm rules check -q plain.toml --job job.gcode")
            .out.ends_with("\nhint: " + of_check));
  CHECK(run("forewarm forecast --rules two.toml job.gcode").err.find("not known") ==
        std::string::npos);
  // Hundreds of equal commands, in a job whose selects are known.
  std::string many = kJob;
  for (int i = 0; i < 250; ++i) many += "SWAB_TIP FAST\n";
  put(run / "many.gcode", many);
  const std::string said = run("forewarm forecast --rules two.toml many.gcode").err;
  CHECK(said.find("many.gcode: of its commands these are not known, the most frequent first:\n"
                  "  250 times, first in line 16: SWAB_TIP FAST\n") != std::string::npos);
  CHECK(said.find("  match = '^SWAB_TIP\\s+FAST\\b'\n  as = \"change\"\n  tool = 0\n") !=
        std::string::npos);
  CHECK(said.find("  match = '^SWAB_TIP\\b'\n  seconds = 0\n") != std::string::npos);
}

TEST_CASE("rules new --from: what comes out loads, fits the job, and loads with all switched on") {
  Bench run;
  for (const std::string& name : kFixtures) {
    CAPTURE(name);
    const Ran ran = run("forewarm rules new --from $FIXTURES/" + name);
    REQUIRE(ran.code == 0);
    CHECK(ran.err.empty());
    put(run / "new.toml", ran.out);
    put(run / "on.toml", switched_on(ran.out));
    CHECK(run("forewarm rules check -q new.toml").code == 0);
    const Ran on = run("forewarm rules check -q on.toml --job $FIXTURES/" + name);
    CHECK(on.err.empty());
    CHECK(on.code == 0);
    // Each pattern fits what it was made from.
    CHECK(on.out.find("\n         0  ") == std::string::npos);
    CHECK(run("forewarm rewrite -q --rules new.toml $FIXTURES/" + name + " -o out.gcode").code ==
          0);
    CHECK(run("forewarm check -q --rules new.toml $FIXTURES/" + name + " out.gcode").code == 0);
  }
}

TEST_CASE("rules new --from: what it says of the trail map") {
  Bench run;
  const std::string text = run("forewarm rules new --from $FIXTURES/trail_map.gcode").out;
  for (const char* part : {
           "name = \"ash\"\n",
           "name = \"birch\"\ntools = [1, 2, 3, 4, 5]\n",
           "name = \"cedar\"\n",
           "max_speed_mm_s = { x = 350, y = 350, z = 15, e = 70 }",
           "line 13: M203\n",
           "accel_mm_s2 = 3000",
           "name = \"granite\"",
           "name = \"signal red\"",
           "#match = '^; == level \\d+'\n#as = \"layer\"\n",
           "#match = '^; rinse begins'\n#as = \"purge-begin\"\n",
           "#match = '^; rinse ends'\n#as = \"purge-end\"\n",
           "#purge_area_mm = ",
           "# once, first in line 27: G28\n#[[duration]]\n#match = '^G28\\b'\n#seconds = 0\n",
           "# once, first in line 28: M190 S60\n",
           "off_over_s = 3600\n",
           "lead_stretch = 0.25\n",
       }) {
    CAPTURE(part);
    CHECK(text.find(part) != std::string::npos);
  }
  // Tables in the order of T.
  std::size_t at = 0;
  for (int tool = 0; tool < 7; ++tool) {
    const std::size_t next = text.find("\ntool = " + std::to_string(tool) + "\n", at);
    REQUIRE(next != std::string::npos);
    at = next;
  }
}

TEST_CASE("rules new --from: commands of the job's own") {
  Bench run;
  std::string job = "M83\nM104 T0 S200\nM104 T1 S210\n";
  for (int i = 0; i < 6; ++i) {
    const std::string tool = std::to_string(i % 2);
    job += "PICK_HEAD H" + tool + "\nAWAIT_HEAD " + tool + " 21" + tool +
           "\nRINSE_NOW\nG1 X20 E1 F1200\n";
  }
  put(run / "own.gcode", job);
  const Ran ran = run("forewarm rules new --from own.gcode");
  REQUIRE(ran.code == 0);
  for (const char* part : {
           "# A guess: this may select a tool (the pattern fits 6 times, first in line 4).\n"
           "# PICK_HEAD H0\n#[[recognise]]\n#match = '^PICK_HEAD\\s+H(?P<tool>\\d+)'\n"
           "#as = \"change\"\n",
           "#match = '^AWAIT_HEAD\\s+(?P<tool>\\d+)\\s+(?P<temp>[\\d.]+)'\n#as = \"wait\"\n",
           "#match = '^RINSE_NOW\\b'\n#as = \"change\"\n#tool = 0\n",
           "# 6 times, first in line 6: RINSE_NOW\n#[[duration]]\n#match = '^RINSE_NOW\\b'\n",
       }) {
    CAPTURE(part);
    CHECK(ran.out.find(part) != std::string::npos);
  }
  put(run / "on.toml", switched_on(ran.out));
  const Ran on = run("forewarm rules check -q on.toml --job own.gcode");
  CHECK(on.code == 0);
  CHECK(on.out.find("\n         6  [[recognise]] '^PICK_HEAD") != std::string::npos);
}

TEST_CASE("rules new --from: a job that heats by the numbers of heaters") {
  Bench run;
  std::string job = "M83\nM104 T0 S205\nM104 T1 S245\nM109 T0 S205\nT0\nG1 X20 E1 F1200\n";
  for (const char* tool : {"T3", "T4", "T0", "T3"}) {
    job += std::string(tool) + "\nM109 T" + (tool[1] == '0' ? "0" : "1") + " S245\nG1 X9 E1\n";
  }
  put(run / "job.gcode", job);
  const Ran ran = run("forewarm rules new --from job.gcode");
  REQUIRE(ran.code == 0);
  CHECK(ran.out.find("tools = [3, 4]\nheater = { index = 1, ") != std::string::npos);
  CHECK(ran.out.find("# job.gcode, line 8: T3 is selected, and then number 1 waited for.\n"
                     "temperature_index = \"heater\"\n") != std::string::npos);
  put(run / "new.toml", ran.out);
  CHECK(run("forewarm rewrite -q --rules new.toml job.gcode -o out.gcode").code == 0);
}

TEST_CASE("rules new: names and lines of a job are harmless in the file") {
  Bench run;
  put(run / "odd.gcode",
      "; colour 0 is a \"quoted\\ name, toolhead a'b\n; colour 1 is \x1b[2J;fw+, toolhead \xff\n"
      "M83\nT0\nM109 S200\nEVIL'\"\"\"\x01 5\nEVIL'\"\"\"\x01 6\nG1 X1 E1 F600\nT1\nM109 S200\n"
      "G1 X1 E1\nT0\nM109 S200\nG1 X1 E1\n");
  const Ran ran = run("forewarm rules new --from odd.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.out.find('\x1b') == std::string::npos);
  put(run / "new.toml", ran.out);
  put(run / "on.toml", switched_on(ran.out));
  CHECK(run("forewarm rules check -q new.toml").code == 0);
  CHECK(run("forewarm rules check -q on.toml").code == 0);
}

TEST_CASE("rules new --ask: answers from standard input") {
  Bench run;
  furnish(run);
  put(run / "typed", "lathe\n0 | 1 2\nash birch\n40 60\n\n5\n\n30\n150\n1200\n");
  const Ran ran = run("forewarm rules new --ask <typed");
  CHECK(ran.code == 0);
  CHECK(ran.err.starts_with("1. What is the machine called? [machine] \n2. Which T numbers"));
  CHECK(ran.err.find("10. How many seconds may a gap last") != std::string::npos);
  CHECK(ran.err.find("no answers from") == std::string::npos);
  for (const char* part :
       {"name = \"lathe\"\n", "name = \"ash\"\n", "name = \"birch\"\n", "tools = [1, 2]\n",
        "index = 0, power_w = 40,", "index = 1, power_w = 60,", "max_c = 300 }", "park_s = 5\n",
        "pick_s = 7\n", "exchange_s = 30\n", "standby_c = 150\n", "off_over_s = 1200\n"}) {
    CAPTURE(part);
    CHECK(ran.out.find(part) != std::string::npos);
  }
  put(run / "new.toml", ran.out);
  CHECK(
      run("forewarm rules check -q new.toml").out.starts_with("good: 2 toolheads, 3 filaments\n"));
  // With a job, its tools are the defaults.
  const Ran job = run("forewarm rules new --ask --from $FIXTURES/trail_map.gcode <typed");
  CHECK(job.err.find("[0 | 1 2 3 4 5 | 6]") != std::string::npos);
}

TEST_CASE("rules new --ask: the end of input means the defaults, and that is said") {
  Bench run;
  furnish(run);
  const Ran none = run("forewarm rules new --ask");
  CHECK(none.code == 0);
  CHECK(
      none.err.ends_with("\nforewarm: info: no answers from question 1 on: the defaults stand\n"));
  const Ran some = run("printf 'lathe\\n0 1\\n' | forewarm rules new --ask");
  CHECK(some.code == 0);
  CHECK(some.err.ends_with("forewarm: info: no answers from question 3 on: the defaults stand\n"));
  CHECK(some.out.find("tools = [0, 1]\n") != std::string::npos);
  const Ran from = run("forewarm rules new --from job.gcode"),
            asked = run("forewarm rules new --ask --from job.gcode");
  CHECK(asked.out == from.out);
}

TEST_CASE("rules new: answers that are wrong") {
  Bench run;
  furnish(run);
  struct Row {
    const char *typed, *says;
  };
  for (const Row& row : {
           Row{"m\n0 | 0\n", "answer 2, toolheads: T0 is that of two toolheads"},
           Row{"m\nash\n",
               "answer 2, toolheads: toolheads must be an array of arrays of T numbers"},
           Row{"m\n0 | 1\nash\n", "answer 3, names: 1 values of names for 2 toolheads"},
           Row{"m\n0 | 1\nash ash\n", "answer 3, names: there is a toolhead \"ash\" already"},
           Row{"m\n0 | 1\n\n-5\n", "answer 4, power_w: power_w must be more than 0"},
           Row{"m\n0 | 1\n\n1 2 3\n", "answer 4, power_w: 3 values of power_w for 2 toolheads"},
           Row{"m\n0 | 1\n\n\n\nsoon\n", "answer 6, park_s: park_s must be a number, not a string"},
       }) {
    CAPTURE(row.typed);
    put(run / "typed", row.typed);
    const Ran ran = run("forewarm rules new --ask <typed");
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err.find(row.says) != std::string::npos);
  }
  put(run / "wrong.toml", "machine = \"m\"\ntoolhead = [[0]]\n");
  CHECK(run("forewarm rules new --answers wrong.toml").err ==
        "forewarm: error: wrong.toml:2:1: no question is called \"toolhead\"\n"
        "  toolhead = [[0]]\n  ^\n  hint: did you mean \"toolheads\"?\n");
  put(run / "wrong.toml", "toolheads = [[0], [1]]\nmax_c = [300, 2000]\n");
  CHECK(run("forewarm rules new --answers wrong.toml")
            .err.find("wrong.toml:2:15: max_c must be from 0 to 1000, not 2000") !=
        std::string::npos);
  put(run / "wrong.toml", "names = [\"ash\"]\n");
  CHECK(run("forewarm rules new --answers wrong.toml")
            .err.find("wrong.toml:1:9: 1 values of names for 2 toolheads") != std::string::npos);
  CHECK(run("forewarm rules new --answers none.toml").code == 4);
  const Ran both = run("forewarm rules new --ask --from - <job.gcode");
  CHECK(both.code == 2);
}

TEST_CASE("rules new --answers: a file says the same as a person") {
  Bench run;
  put(run / "answers.toml",
      "machine = \"lathe\"\ntoolheads = [[0], [1, 2]]\nnames = [\"ash\", \"birch\"]\n"
      "power_w = [40, 60]\npark_s = 5\nexchange_s = 30\nstandby_c = 150\noff_over_s = 1200\n");
  put(run / "typed", "lathe\n0 | 1 2\nash birch\n40 60\n\n5\n\n30\n150\n1200\n");
  const Ran file = run("forewarm rules new --answers answers.toml");
  CHECK(file.code == 0);
  CHECK(file.err.empty());
  CHECK(file.out == run("forewarm rules new --ask <typed").out);
  // Both: what the file says is what is asked with.
  CHECK(run("printf '\\n\\n' | forewarm rules new --answers answers.toml --ask")
            .err.find("[ash birch]") != std::string::npos);
}

TEST_CASE("rules schema: JSON, with every section") {
  Bench run;
  const Ran ran = run("forewarm rules schema");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  const auto schema = nlohmann::json::parse(ran.out);
  CHECK(schema["$schema"] == "https://json-schema.org/draft/2020-12/schema");
  CHECK(schema["required"] == nlohmann::json{"version", "toolhead"});
  CHECK(schema["$defs"]["gap"]["properties"]["off_over_s"]["anyOf"][1]["const"] == "best");
  CHECK(schema["$defs"]["gap"]["properties"]["off_over_s"]["default"] == 1500);
}
