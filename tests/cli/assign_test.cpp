#include <nlohmann/json.hpp>
#include <regex>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kHeater =
    "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n";
const std::string kRules =
    "version = 1\n"
    "[[toolhead]]\nname = \"ash\"\ntools = [0]\n" +
    kHeater +
    "park_s = 6\npick_s = 4\n"
    "[[toolhead]]\nname = \"birch\"\ntools = [1, 2]\n" +
    kHeater +
    "park_s = 6\npick_s = 4\nexchange_s = 30\n"
    "[[filament]]\ntool = 0\nname = \"granite\"\nmaterial = \"PLA\"\n"
    "[[filament]]\ntool = 1\nname = \"moss green\"\n"
    "[[filament]]\ntool = 2\nname = \"lake blue\"\n";
const std::string kJob = "T0\nT1\nT2\nT1\nT2\nT1\nT2\n";

void furnish(const Bench& run) {
  put(run / "rules.toml", kRules);
  put(run / "job.gcode", kJob);
  put(run / "purge.csv", "g,T0,T1,T2\nT0,,9,9\nT1,9,,2\nmoss green,9,,2\n");
  put(run / "good.csv", "g,T0,T1,lake blue\nT0,,9,9\nT1,9,,2\nT2,9,3,\n");
}

// The bytes of the rule file have a hash, which is not what these tests are about.
std::string without_hash(const std::string& text) {
  return std::regex_replace(text, std::regex("[0-9a-f]{16}"), "HASH");
}

}  // namespace

TEST_CASE("assign: what it says") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm assign --rules rules.toml job.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.err == "forewarm: info: rules: rules.toml\n");
  CHECK(without_hash(ran.out) == R"(job.gcode
  on machine
  rules: rules.toml, HASH

               toolhead changes filament changes    exchanging   all changes
as it is                      1                5    2 min 30 s    2 min 44 s
best                          5                1        30.0 s    1 min 24 s

Proved: no assignment that the rules allow takes less than 1 min 24 s.
2 filaments to move: 0=2,2=0

load   toolhead         material         filament
T0     ash                               lake blue                from T2
T1     birch                             moss green               stays
T2     birch            PLA              granite                  from T0
)");
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("assign: by time, by purge, and what a matrix changes") {
  Bench run;
  furnish(run);
  const auto best = [&](const std::string& options) {
    const Ran ran = run("forewarm assign --rules rules.toml --json - job.gcode " + options);
    INFO(options << '\n' << ran.err);
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    CHECK(json["schema_version"] == 1);
    CHECK(json["best"]["optimal"] == true);
    return json["by"].get<std::string>() + ' ' + json["best"]["cost"].dump() + ' ' +
           json["unit"].get<std::string>() + ' ' + json["best"]["map"].dump();
  };
  CHECK(best("") == R"(time 84.0 s {"0":2,"1":1,"2":0})");
  CHECK(best("--by time") == best(""));
  CHECK(best("--by purge") == R"(purge 1.0 exchanges {"0":1,"1":0,"2":2})");
  CHECK(best("--matrix good.csv") == R"(purge 9.0 g {"0":1,"1":0,"2":2})");
  CHECK(best("--matrix good.csv --by purge") == best("--matrix good.csv"));
  CHECK(best("--matrix good.csv --by time") == best(""));
}

TEST_CASE("assign: where results go") {
  Bench run;
  furnish(run);
  const Ran both = run("forewarm assign --rules rules.toml --json out.json job.gcode");
  CHECK(both.code == 0);
  CHECK(both.out.substr(0, 10) == "job.gcode\n");
  const Ran alone = run("forewarm assign --rules rules.toml --json - - <job.gcode");
  CHECK(alone.code == 0);
  CHECK(alone.out == get(run / "out.json"));
  CHECK(run("forewarm assign --rules rules.toml job.gcode >/dev/full").code == 4);
  // A rewritten job is what it was made from.
  REQUIRE(run("forewarm rewrite -q --rules rules.toml job.gcode -o new.gcode").code == 0);
  CHECK(run("forewarm assign --rules rules.toml --json - new.gcode").out == alone.out);
}

TEST_CASE("assign: what is refused") {
  Bench run;
  furnish(run);
  put(run / "fixed.toml", kRules + "fixed = true\nonly = [0]\n");
  put(run / "crowd.toml",
      "version = 1\n[[toolhead]]\nname = \"ash\"\ntools = [0]\n" + kHeater +
          "[[toolhead]]\nname = \"birch\"\ntools = [1, 2]\n" + kHeater +
          "[[filament]]\ntool = 0\nonly = [0]\n[[filament]]\ntool = 2\nonly = [\"ash\"]\n");
  put(run / "cell.csv", "g,T0,T1,T2\nT0,,9,-1\n");
  struct Case {
    std::string line, says;
    int code;
  };
  for (const Case& c : {
           Case{"assign", "JOB is required", 2},
           Case{"assign job.gcode --by weight", "--by: weight not in {time,purge}", 2},
           Case{"assign --rules rules.toml job.gcode --json job.gcode",
                "job.gcode: the report would overwrite the job", 2},
           Case{"assign --rules rules.toml job.gcode --matrix good.csv --json good.csv",
                "good.csv: the report would overwrite the matrix", 2},
           Case{"assign --rules rules.toml missing.gcode", "missing.gcode: cannot open", 4},
           Case{"assign --rules rules.toml --matrix missing.csv job.gcode",
                "missing.csv: cannot open", 2},
           Case{"assign --rules rules.toml --matrix purge.csv job.gcode",
                "purge.csv:4:1: there is a row for T1 already\n  moss green,9,,2\n  ^\n", 2},
           Case{"assign --rules rules.toml --matrix cell.csv job.gcode",
                "cell.csv:2:7: a cell must be from 0 to 1000000, not -1\n  T0,,9,-1\n        ^\n",
                2},
           Case{"assign --rules fixed.toml job.gcode",
                "fixed.toml:25:9: fixed keeps this filament at T2, where only does not let it be",
                2},
           Case{"assign --rules crowd.toml job.gcode",
                "crowd.toml:10: 2 filaments have 1 tool where they may be: \"T0\" (T0), \"T2\" "
                "(T2) "
                "at T0\n  hint: see their `only`, `never` and `fixed` in the rule file\n",
                2},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("forewarm " + c.line);
    CHECK(ran.code == c.code);
    CHECK(ran.out.empty());
    CAPTURE(ran.err);
    CHECK(ran.err.find(c.says) != std::string::npos);
  }
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("assign: where stops count, both sides have what they take, if only 0") {
  Bench run;
  put(run / "job.gcode", "M83\nT1\nG1 X1 E1\nT2\nG1 X2 E1\nT1\nG1 X1 E1\nT2\nG1 X3 E1\n");
  const std::string rules =
      "version = 1\n"
      "[[toolhead]]\nname = \"ash\"\ntools = [1, 2]\n"
      "heater = { index = 1, power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n"
      "[[toolhead]]\nname = \"birch\"\ntools = [0]\n"
      "heater = { index = 0, power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n";
  const auto stops = [&](const std::string& filament) {
    put(run / "rules.toml", rules + filament);
    const Ran ran = run("forewarm assign --rules rules.toml --json - job.gcode");
    CHECK(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    return json["baseline"].value("stops_s", -1.0) * 1000 + json["best"].value("stops_s", -1.0);
  };
  // T2 comes in twice: first for T1, and then once more.
  CHECK(stops("[[filament]]\ntool = 2\nfault_odds = 0.5\n") == 900'000);
  CHECK(stops("") == -1001);
}

TEST_CASE("assign: help") {
  Bench run;
  CHECK(run("forewarm --help").out.find("\n  assign ") != std::string::npos);
  const Ran ran = run("forewarm assign --help");
  CHECK(ran.code == 0);
  CHECK(ran.out.find("Example: forewarm assign --rules") != std::string::npos);
  CHECK(ran.out.find("--matrix") != std::string::npos);
}
