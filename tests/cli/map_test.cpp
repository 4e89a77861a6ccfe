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
    const std::string job = "M83\nM104 T0 S200\nM104 T1 S210\nT0\nG1 X9 E1\nT1\nG1 X1 E1\n" + last;
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
