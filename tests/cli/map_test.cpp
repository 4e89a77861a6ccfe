#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kRewrite = "forewarm rewrite --rules $CONFIG/demo.toml ";
const std::string kCheck = "forewarm check -q --rules $CONFIG/demo.toml ";

}  // namespace

TEST_CASE("map: every fixture, there and back, and again") {
  Bench run;
  for (const char* name : {"trail_map.gcode", "trail_map_absolute.gcode", "trail_map_arcs.gcode",
                           "trail_map_crlf.gcode", "trail_map_inches.gcode",
                           "trail_map_lower.gcode", "trail_map_numbered.gcode"}) {
    CAPTURE(name);
    REQUIRE(run(std::string("cp $FIXTURES/") + name + " job.gcode").code == 0);
    const Ran made = run(kRewrite + "--map 1=3,3=1,2=5,5=2 job.gcode -o new.gcode");
    CAPTURE(made.err);
    REQUIRE(made.code == 0);
    CHECK(made.err.find("load T3 (birch): moss green, from T1\n") != std::string::npos);
    const std::string text = get(run / "new.gcode");
    CHECK(text.find(" ;fw+ mapped T1 to T3") != std::string::npos);
    const Ran checked = run(kCheck + "job.gcode new.gcode");
    CAPTURE(checked.out.substr(0, 2000));
    CHECK(checked.code == 0);
    CHECK(run(kCheck + "new.gcode").code == 0);
    REQUIRE(run("forewarm restore new.gcode -o back.gcode").code == 0);
    CHECK(get(run / "back.gcode") == get(run / "job.gcode"));
    REQUIRE(run(kRewrite + "-q --map 1=3,3=1,2=5,5=2 new.gcode").code == 0);
    CHECK(get(run / "new.gcode") == text);
    REQUIRE(run("rm *").code == 0);
  }
}

TEST_CASE("map: the last line without an ending") {
  Bench run;
  put(run / "rules.toml",
      "version = 1\n[[toolhead]]\nname = \"T\"\ntools = \"seen\"\n"
      "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n");
  for (const std::string last : {"T0", "M104 T1 S0", "T0\n", "T1\r\nT0", "T0\r"}) {
    CAPTURE(last);
    const std::string job =
        "M83\nM104 T0 S200\nM104 T1 S210\nT0\nG1 X9 E1\nT1\nG1 X1 E1\nM84\n" + last;
    put(run / "job.gcode", job);
    const Ran made =
        run("forewarm rewrite --rules rules.toml --map 0=1,1=0 job.gcode -o new.gcode");
    CAPTURE(made.err);
    REQUIRE(made.code == 0);
    CAPTURE(get(run / "new.gcode"));
    REQUIRE(run("forewarm restore new.gcode -o back.gcode").code == 0);
    CHECK(get(run / "back.gcode") == job);
    CHECK(run("forewarm check --rules rules.toml job.gcode new.gcode").code == 0);
  }
}

TEST_CASE("map: best, in a rewrite and a forecast") {
  Bench run;
  REQUIRE(run("cp $FIXTURES/trail_map.gcode job.gcode").code == 0);
  const Ran made = run(kRewrite + "--map best job.gcode -o new.gcode");
  CAPTURE(made.err);
  REQUIRE(made.code == 0);
  CHECK(made.err.find("load T") != std::string::npos);
  const Ran checked = run(kCheck + "job.gcode new.gcode");
  CAPTURE(checked.out.substr(0, 2000));
  CHECK(checked.code == 0);
  const Ran forecast = run("forewarm forecast -q --rules $CONFIG/demo.toml --map best job.gcode");
  CHECK(forecast.code == 0);
  CHECK(forecast.out.substr(0, 6) == "load T");
  CHECK(forecast.out.find("\njob.gcode\n  on ") != std::string::npos);
}

TEST_CASE("map: what is refused, and what changes nothing") {
  Bench run;
  put(run / "job.gcode", "M83\nT0\nM109 S200\nG1 X9 E1\nT1\nM109 S200\nG1 X1 E1\n");
  put(run / "first.gcode", "M83\nM109 T0 S200\nG1 X9 E1\nT1\nM109 S200\nG1 X1 E1\n");
  struct Case {
    std::string line, says;
  };
  for (const Case& c : {
           Case{"job.gcode --map 0", "no pairs of T numbers can be read"},
           Case{"job.gcode --map 0=", "no pairs of T numbers can be read"},
           Case{"job.gcode --map 0=1;1=0", "no pairs of T numbers can be read"},
           Case{"job.gcode --map 0=1,", "no pairs of T numbers can be read"},
           Case{"job.gcode --map worst", "no pairs of T numbers can be read"},
           Case{"job.gcode --map=-1=0", "no pairs of T numbers can be read"},
           Case{"job.gcode --map 0=70000", "no pairs of T numbers can be read"},
           Case{"job.gcode --map 0=1,0=2", "T0 is moved twice"},
           Case{"job.gcode --map 0=1", "more than one tool of the job would be T1"},
           Case{"job.gcode --map 0=4,1=4", "more than one tool of the job would be T4"},
           Case{"first.gcode --map 0=1,1=0", "prints with T0 before it selects any tool"},
       }) {
    CAPTURE(c.line);
    const std::string quoted =
        c.line.find(';') == std::string::npos ? c.line : "job.gcode --map '0=1;1=0'";
    const Ran ran = run("forewarm rewrite --rules built-in " + quoted);
    CHECK(ran.code == 2);
    CAPTURE(ran.err);
    CHECK(ran.err.find(c.says) != std::string::npos);
  }
  const Ran same = run("forewarm rewrite --rules built-in --map 0=0,7=8 job.gcode -o new.gcode");
  CHECK(same.code == 0);
  CHECK(same.err.find("every filament that the job uses stays where it is") != std::string::npos);
  REQUIRE(run("forewarm rewrite -q --rules built-in job.gcode -o plain.gcode").code == 0);
  CHECK(get(run / "new.gcode") == get(run / "plain.gcode"));
}

namespace {

// Three toolheads of which birch has a feeder; what more the rule file says.
std::string machine(const std::string& more = "") {
  const std::string heater = "power_w = 40, full_drive_c = 450, time_constant_s = 180, ";
  return "version = 1\n[[toolhead]]\nname = \"ash\"\ntools = [0]\nheater = { " + heater +
         "index = 0 }\n[[toolhead]]\nname = \"birch\"\ntools = [1, 2]\nheater = { " + heater +
         "index = 1, max_c = 250 }\nexchange_s = 33\n[[toolhead]]\nname = \"cedar\"\ntools = [3]\n"
         "heater = { " +
         heater + "index = 2 }\n" + more;
}
const std::string kByHeater = "[dialect]\ntemperature_index = \"heater\"\n";

// Contour lines of the trail map, `seconds` long.
std::string contours(int seconds) {
  std::string out;
  for (int i = 0; i < seconds; ++i) {
    out += "G1 X" + std::to_string(i % 2 == 0 ? 160 : 100) + " Y100 E1 F3600\n";
  }
  return out;
}
const std::string kStart = "G21\nG90\nM83\nG28\n";

// Rewrites job.gcode by rules.toml, and holds it against everything that must be so.
std::string mapped_text(Bench& run, const std::string& map) {
  const std::string rules = " --rules rules.toml ";
  const Ran made = run("forewarm rewrite" + rules + "--map " + map + " job.gcode -o new.gcode");
  CAPTURE(made.err);
  REQUIRE(made.code == 0);
  const std::string text = get(run / "new.gcode");
  CAPTURE(text);
  CHECK(run("forewarm check -q" + rules + "job.gcode new.gcode").code == 0);
  CHECK(run("forewarm check -q" + rules + "new.gcode").code == 0);
  CHECK(run("forewarm forecast -q" + rules + "--map " + map + " job.gcode").code == 0);
  REQUIRE(run("forewarm restore new.gcode -o back.gcode").code == 0);
  CHECK(get(run / "back.gcode") == get(run / "job.gcode"));
  REQUIRE(run("forewarm rewrite -q" + rules + "--map " + map + " new.gcode").code == 0);
  CHECK(get(run / "new.gcode") == text);
  return text;
}
bool holds(const std::string& text, const std::string& lines) {
  return text.find(lines) != std::string::npos;
}

}  // namespace

TEST_CASE("map: temperatures that name heaters go with their filaments") {
  Bench run;
  put(run / "rules.toml", machine(kByHeater));
  put(run / "job.gcode", kStart + "M104 T0 S205\nM104 T2 S245\nM109 T0 S205\nT0\n" + contours(30) +
                             "T3\nM109 T2 S245\n" + contours(60) + "T0\nM109 T0 S205\n" +
                             contours(60) + "M104 T0 S0\nM104 T2 S0\n");
  const std::string text = mapped_text(run, "0=3,3=0");
  CHECK(holds(text, "\n ;fw+ mapped T0 to T3, T3 to T0\n"));
  CHECK(holds(text, "\n;fw- M104 T0 S205\nM104 T2 S205 ;fw+ mapped heater 0 to 2\n"));
  CHECK(holds(text, "\n;fw- M109 T2 S245\nM109 T0 S245 ;fw+ mapped heater 2 to 0\n"));
  CHECK(holds(text, "\nT3 ;fw+ mapped T0 to T3\n"));

  // T1 and T2 part: the target before the exchange may be for either.
  put(run / "job.gcode",
      kStart + "M109 T1 S205\nT1\n" + contours(30) + "M104 T1 S245\nT2\n" + contours(60));
  const Ran refused = run("forewarm rewrite -q --rules rules.toml --map 1=3 job.gcode");
  CHECK(refused.code == 3);
  CHECK(refused.err ==
        "forewarm: error: job.gcode:37:7: it cannot be known for which filament \"birch\" is "
        "heated here: T1 goes to \"cedar\", T2 to \"birch\"\n  M104 T1 S245\n        ^\n  hint: "
        "give this temperature after the select of the tool that it is for, or keep the two "
        "together\n");
  CHECK_FALSE(holds(get(run / "job.gcode"), ";fw"));
}

TEST_CASE("map: filaments that come to share a toolhead keep their temperatures") {
  Bench run;
  put(run / "rules.toml", machine());
  // One is put on standby, and then off, while the other prints; both are heated once only.
  put(run / "job.gcode", kStart + "M104 T0 S205\nM104 T3 S245\nM109 T0 S205\nM109 T3 S245\nT0\n" +
                             contours(30) + "T3\n" + contours(30) + "T0\n" + contours(30) + "T3\n" +
                             contours(20) + "M104 T0 S175\n" + contours(20) + "M104 T0 S0\n" +
                             contours(20) + "M104 T0 S0\nM104 T3 S0\n");
  const std::string text = mapped_text(run, "0=1,3=2");
  CHECK(
      holds(text, "\n;fw- M109 T3 S245\n; ;fw+ mapped T3 to T2, left out: T1 comes next there\n"));
  CHECK(holds(text, "\n;fw- M104 T0 S175\n; ;fw+ mapped T0 to T1, left out: T2 is in use there\n"));
  CHECK(holds(text, "\nM109 T2 S245 ;fw+ mapped T3 to T2, at 245 C as before\n"));
  CHECK(holds(text, "\nM109 T1 S205 ;fw+ mapped T0 to T1, at 205 C as before\n"));
  // What is refused is named by its line in the job, whatever was inserted before it.
  std::string hot = get(run / "job.gcode");
  hot.insert(hot.rfind("M104 T0 S0"), "M104 T3 S260\n");
  put(run / "job.gcode", hot);
  const Ran refused = run("forewarm rewrite -q --rules rules.toml --map 0=1,3=2 job.gcode");
  CHECK(refused.code == 3);
  CHECK(refused.err.find("job.gcode:165:9: a target of 260 C is above max_c = 250 of toolhead "
                         "\"birch\"\n  M104 T2 S260\n") != std::string::npos);
}

TEST_CASE("map: what is heated or switched off without being used makes room") {
  Bench run;
  put(run / "rules.toml", machine());
  std::string job = kStart + "M104 T0 S150\nM104 T1 S210\nM104 T2 S205\n";
  for (int i = 0; i < 6; ++i) {
    job += i % 2 == 0 ? "T1\nM109 S210\n" : "T2\nM109 S205\n";
    job += contours(60);
  }
  job += "M104 T0 S0\nM104 T1 S0\nM104 T3 S0\n";
  put(run / "job.gcode", job);
  const std::string text = mapped_text(run, "best");
  CHECK(holds(text, "\n ;fw+ mapped T0 to T1, T1 to T0\n"));
  CHECK(
      holds(text, "\n;fw- M104 T0 S150\n; ;fw+ mapped T0 to T1, left out: T2 comes next there\n"));
  CHECK(holds(text, "\n;fw- M104 T0 S0\nM104 T1 S0 ;fw+ mapped T0 to T1\n"));
  const Ran again = run("forewarm rewrite --rules rules.toml --map best job.gcode");
  CHECK(holds(again.err, "load T0 (ash): T1, from T1\n"));
  CHECK_FALSE(holds(again.err, "from T0"));
}

TEST_CASE("map: rules of where a filament may be") {
  Bench run;
  put(run / "job.gcode", kStart + "T0\nM109 S205\n" + contours(20) + "T1\nM109 S205\n" +
                             contours(20) + "T0\nM109 S205\n" + contours(20));
  struct Case {
    std::string rule, map, says;
  };
  for (const Case& c : {
           Case{"tool = 0\nname = \"granite\"\nfixed = true", "0=3",
                "--map puts T0 (granite) at T3, but it is fixed"},
           Case{"tool = 0\nname = \"granite\"\nonly = [0, 1, \"birch\"]", "0=3",
                "--map puts T0 (granite) at T3, where its `only` does not let it be"},
           Case{"tool = 0\nname = \"granite\"\nnever = [\"cedar\"]", "0=3",
                "--map puts T0 (granite) at T3, where its `never` does not let it be"},
           Case{"tool = 1\nnever = [3, 0]", "0=1,1=0",
                "--map puts T1 (T1) at T0, where its `never` does not let it be"},
           Case{"tool = 3\nname = \"sand\"\nfixed = true", "0=3",
                "--map puts T0 (T0) at T3, where T3 (sand) is fixed"},
       }) {
    CAPTURE(c.says);
    put(run / "rules.toml", machine("[[filament]]\n" + c.rule + "\n"));
    for (const std::string command : {"rewrite -o new.gcode", "forecast"}) {
      const std::string line =
          "forewarm " + command + " --rules rules.toml --map " + c.map + " job.gcode";
      const Ran refused = run(line + " -q");
      CHECK(refused.code == 2);
      CHECK(refused.err == "forewarm: error: rules.toml:15: " + c.says +
                               "\n  hint: --force-map does it all the same\n");
      const Ran forced = run(line + " --force-map");
      CHECK(forced.code == 0);
      CHECK(holds(forced.err, "forewarm: info: rules.toml:15: " + c.says + "\n"));
    }
    CHECK(run("forewarm check -q --rules rules.toml job.gcode new.gcode").code == 0);
  }
  // Allowed, or not asked: what stays where it is, whatever the rules say of that, and what the job
  // does not use.
  for (const Case& c : {
           Case{"tool = 0\nonly = [\"birch\", 0]", "0=2", ""},
           Case{"tool = 1\nonly = [3]", "0=2", ""},
           Case{"tool = 3\nfixed = true", "0=2", ""},
           Case{"tool = 3\nnever = [2]", "0=3,3=2", ""},
       }) {
    CAPTURE(c.rule);
    put(run / "rules.toml", machine("[[filament]]\n" + c.rule + "\n"));
    const Ran made =
        run("forewarm rewrite --rules rules.toml --map " + c.map + " job.gcode -o new.gcode");
    CAPTURE(made.err);
    CHECK(made.code == 0);
  }
}

TEST_CASE("map: what a toolhead melts is asked again where filaments move") {
  Bench run;
  const std::string heater =
      "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n";
  put(run / "rules.toml",
      "version = 1\n[[toolhead]]\nname = \"ash\"\ntools = [0, 1]\nmax_flow_mm3_s = 20\n" + heater +
          "[[toolhead]]\nname = \"cedar\"\ntools = [2, 3]\nmax_flow_mm3_s = 8\n" + heater +
          "[[filament]]\ntool = 0\nafter_exchange = \"charge\"\n[[filament]]\ntool = 2\n"
          "[steps]\ncharge = [ { feed_mm = 40, speed_mm_s = 5 } ]\n");
  // 4 mm in 1 s: 9.6 mm3/s.
  std::string rows;
  for (int i = 0; i < 9; ++i) rows += "G1 X100 E4 F6000\nG1 X0 E4\n";
  put(run / "job.gcode", "M83\nM104 T0 S210\nM104 T2 S210\nT0\nG1 X9 E1\n" + rows +
                             "T2\nG1 X1 E1\nG4 S60\nT0\n" + rows + "M84\n");
  const std::string asks = "more is asked of";
  const Ran plain = run("forewarm rewrite --rules rules.toml job.gcode -o new.gcode");
  CHECK(plain.code == 0);
  CHECK(plain.err.find(asks) == std::string::npos);
  const Ran mapped =
      run("forewarm rewrite --rules rules.toml --map 0=2,2=0 job.gcode -o new.gcode");
  CHECK(mapped.code == 0);
  CHECK(mapped.err.find("forewarm: info: job.gcode:6: more is asked of \"cedar\" than its "
                        "max_flow_mm3_s = 8, here for the first time: up to ") !=
        std::string::npos);
  CHECK(mapped.err.find("forewarm: info: --map: the step sequence \"charge\" pushes 12.03 mm3/s, "
                        "more than max_flow_mm3_s of \"cedar\", which is 8\n") !=
        std::string::npos);
}
