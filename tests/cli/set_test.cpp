// --set: values for one run in place of the rule file's.
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kRules = kTwoToolheads + R"([[filament]]
tool = 0
[gap]
policy = "lookahead"
)";

const std::string kJob =
    "M83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 X20 E1 F1200\nT1\nM109 T1 S210\n"
    "G1 X10 E1\nG4 S400\nG1 X30 E1\nT0\nM109 T0 S200\nG1 X10 E1\n";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
}

nlohmann::json forecast(const Bench& run, const std::string& options) {
  const Ran ran = run("forewarm forecast --rules two.toml --json - job.gcode " + options);
  CAPTURE(ran.err);
  REQUIRE(ran.code == 0);
  return nlohmann::json::parse(ran.out);
}

std::string rules_of(const std::string& job) {
  const std::size_t at = job.find("rules=");
  REQUIRE(at != std::string::npos);
  return job.substr(at + 6, 16);
}

}  // namespace

TEST_CASE("set: the value counts for this run, as if the file had it") {
  Bench run;
  furnish(run);
  put(run / "off.toml", kRules + "off_over_s = 100\n");
  const auto plain = forecast(run, ""), set = forecast(run, "--set gap.off_over_s=100");
  CHECK(plain["toolheads"][0]["off"] == 1);  // after its last use
  CHECK(set["toolheads"][0]["off"] == 2);
  const Ran in_file = run("forewarm forecast --rules off.toml --json - job.gcode");
  CHECK(nlohmann::json::parse(in_file.out)["policies"] == set["policies"]);
  // Without a section, as for --sweep; of one key, the last counts; words need no quotes.
  CHECK(forecast(run, "--set 'off_over_s = 100'")["policies"] == set["policies"]);
  CHECK(forecast(run, "--set off_over_s=9 --set off_over_s=100")["policies"] == set["policies"]);
  CHECK(forecast(run, "--set gap.policy=hold")["rules"]["set"][0] == "gap.policy = hold");
  CHECK(get(run / "two.toml") == kRules);
}

TEST_CASE("set: every command that reads rules takes it") {
  Bench run;
  furnish(run);
  put(run / "record.csv", "time_s,temp_c\n0,20\n");
  for (const char* line :
       {"forecast job.gcode", "compare job.gcode", "assign job.gcode",
        "rewrite --dry-run job.gcode", "check job.gcode", "batch -o out job.gcode",
        "calibrate record.csv", "calibrate --make-job made.gcode", "review job.gcode record.csv",
        "rules check"}) {
    CAPTURE(line);
    const Ran ran =
        run(std::string("forewarm ") + line + " --rules two.toml --set toolhead.elm.park_s=1");
    if (std::string_view(line).starts_with("review")) {  // which looks at the job first
      CHECK(ran.err.find("the job bears no plan") != std::string::npos);
      continue;
    }
    CHECK(ran.code == 2);
    CHECK(ran.err.find("--set toolhead.elm.park_s = 1: there is no toolhead \"elm\"\n"
                       "  hint: known here: ash, cedar\n") != std::string::npos);
  }
}

TEST_CASE("set: what is wrong with it") {
  Bench run;
  furnish(run);
  struct Row {
    const char *set, *says;
  };
  for (const Row& row : {
           Row{"gap.off_over_s",
               "--set gap.off_over_s: which key, and which value?\n"
               "  hint: --set PATH=VALUE, as in gap.off_over_s=900 or toolhead.ash.park_s=8"},
           Row{"=5",
               "--set =5: which key, and which value?\n"
               "  hint: --set PATH=VALUE, as in gap.off_over_s=900 or toolhead.ash.park_s=8"},
           Row{"gap.off_over_s= ",
               "--set gap.off_over_s= : which key, and which value?\n"
               "  hint: --set PATH=VALUE, as in gap.off_over_s=900 or toolhead.ash.park_s=8"},
           Row{"gap.of_over_s=5",
               "--set gap.of_over_s = 5: no key of [gap] is called \"of_over_s\"\n"
               "  hint: did you mean \"off_over_s\"?"},
           Row{"gp.off_over_s=5",
               "--set gp.off_over_s = 5: no section with paths is called \"gp\"\n"
               "  hint: did you mean \"gap\"?"},
           Row{"park_s=5",
               "--set park_s = 5: no key of [gap] is called \"park_s\"\n"
               "  hint: such as toolhead.ash.park_s"},
           Row{"max_c=5",
               "--set max_c = 5: no key of [gap] is called \"max_c\"\n"
               "  hint: such as toolhead.ash.heater.max_c"},
           Row{"standby_c=5",
               "--set standby_c = 5: no key of [gap] is called \"standby_c\"\n"
               "  hint: such as filament.T0.standby_c"},
           Row{"ambient_c=5",
               "--set ambient_c = 5: no key of [gap] is called \"ambient_c\"\n"
               "  hint: such as machine.ambient_c"},
           Row{"toolhead.cedr.park_s=5",
               "--set toolhead.cedr.park_s = 5: there is no toolhead \"cedr\"\n"
               "  hint: did you mean \"cedar\"?"},
           Row{"toolhead.ash.park_s=soon",
               "--set toolhead.ash.park_s = soon: park_s must be a number, not a string"},
           Row{"toolhead.ash.park_s=-1",
               "--set toolhead.ash.park_s = -1: park_s must be from 0 to 86400, not -1"},
           Row{"toolhead.ash.park_s=[1]",
               "--set toolhead.ash.park_s = [1]: park_s must be a number, not an array"},
           Row{"gap.policy=holt",
               "--set gap.policy = holt: unknown policy \"holt\"\n  hint: did you mean \"hold\"?"},
           Row{"filament.T7.standby_c=5",
               "--set filament.T7.standby_c = 5: no toolhead serves T7\n"
               "  hint: served are T0, T1"},
           Row{"version=2", "--set version = 2: \"version\" has no path\n  hint: it is always 1"},
           Row{"gap=3",
               "--set gap = 3: [gap] is a section, not a key\n  hint: such as gap.hold_drop_c"},
           Row{"material.NEW.standby_c=1",
               "--set material.NEW.standby_c = 1: no filament has the material \"NEW\"\n"
               "  hint: filament.T0.material gives it to a filament"},
           Row{"recognise.match=x",
               "--set recognise.match = x: no section with paths is called \"recognise\"\n"
               "  hint: what is in it has no name by which a path could find it"},
       }) {
    CAPTURE(row.set);
    const Ran ran =
        run("forewarm forecast --rules two.toml job.gcode --set '" + std::string(row.set) + "'");
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == "forewarm: error: " + std::string(row.says) + "\n");
  }
  // A file that is wrong by itself is what is named.
  put(run / "wrong.toml", "version = 2\n");
  CHECK(run("forewarm rules check wrong.toml --set gap.off_over_s=5")
            .err.find("wrong.toml:1:11: version must be 1") != std::string::npos);
}

TEST_CASE("set: the hash is that of the file and the settings, wherever there is one") {
  Bench run;
  furnish(run);
  const std::string with = " --rules two.toml --set off_over_s=100 ";
  const Ran made = run("forewarm rewrite" + with + "job.gcode -o new.gcode");
  REQUIRE(made.code == 0);
  CHECK(made.err.starts_with("forewarm: info: rules: two.toml, off_over_s = 100\n"));
  REQUIRE(run("forewarm rewrite --rules two.toml job.gcode -o plain.gcode").code == 0);
  const auto set = forecast(run, "--set off_over_s=100"), plain = forecast(run, "");
  CHECK(set["rules"]["hash"] == rules_of(get(run / "new.gcode")));
  CHECK(set["rules"]["set"] == nlohmann::json{"off_over_s = 100"});
  CHECK(plain["rules"]["hash"] == rules_of(get(run / "plain.gcode")));
  CHECK_FALSE(plain["rules"].contains("set"));
  CHECK(set["rules"]["hash"] != plain["rules"]["hash"]);
  CHECK(run("forewarm forecast" + with + "job.gcode")
            .out.find("rules: two.toml, " + rules_of(get(run / "new.gcode")) +
                      ", off_over_s = 100\n") != std::string::npos);
  // check knows the rules again by it.
  const std::string other = "the job was rewritten with other rules than those in force";
  CHECK(run("forewarm check" + with + "job.gcode new.gcode").err.find(other) == std::string::npos);
  CHECK(run("forewarm check --rules two.toml job.gcode new.gcode").err.find(other) !=
        std::string::npos);
  // So does batch: what was made by other values is made again.
  REQUIRE(run("forewarm batch -q --rules two.toml -o out job.gcode").code == 0);
  CHECK(run("forewarm batch -q --rules two.toml -o out job.gcode").out.find("kept") !=
        std::string::npos);
  const Ran again = run("forewarm batch -q" + with + "-o out job.gcode");
  CHECK(again.out.find("done") != std::string::npos);
  CHECK(get(run / "out/job.gcode") == get(run / "new.gcode"));
}

TEST_CASE("set: over the built-in guesses, too") {
  Bench run;
  furnish(run);
  const Ran ran =
      run("forewarm rewrite --rules built-in --set toolhead.toolhead.park_s=9 "
          "job.gcode -o new.gcode");
  CHECK(ran.code == 0);
  CHECK(
      ran.err.starts_with("forewarm: info: rules: built-in guesses, not measured on this "
                          "machine, toolhead.toolhead.park_s = 9\n"));
}
