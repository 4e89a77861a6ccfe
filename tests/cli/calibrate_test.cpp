// `forewarm calibrate` as users run it.
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kRules = R"(# Mine.
version = 1
[machine]
ambient_c = 23          # in winter
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 400, time_constant_s = 200, max_c = 290 } # guessed
[[toolhead]]
name = "cedar"
tools = [1]
  [toolhead.heater]
  power_w = 50
  full_drive_c = 450    # where it would end
  time_constant_s = 180
)";

// Exact: a heat-up at full drive for 100 s, after a dead time, and 400 s of cooling.
std::string record(const std::string& heater, double full_c, double tau_s, double dead_s) {
  std::string out;
  double top_c = 23;
  for (int t = 0; t <= 520; t += 2) {
    double temp_c = 23;
    const double on_s = 20, off_s = 120;
    const double heated_s = std::min(double(t), off_s + dead_s) - on_s - dead_s;
    if (heated_s > 0) temp_c = top_c = full_c + (23 - full_c) * std::exp(-heated_s / tau_s);
    if (t > off_s + dead_s) {
      const double whole = full_c + (23 - full_c) * std::exp(-(off_s - on_s) / tau_s);
      temp_c = 23 + (whole - 23) * std::exp(-(t - off_s - dead_s) / tau_s);
    }
    char line[100];
    std::snprintf(line, sizeof line, "%d,%s,%.4f,%d\n", t, heater.c_str(), temp_c,
                  t >= on_s && t < off_s ? 1 : 0);
    out += line;
  }
  return out;
}

const std::string kHead = "time_s,heater,temp_c,drive\n";

void furnish(const Bench& run) {
  put(run / "rules.toml", kRules);
  put(run / "ash.csv", kHead + record("ash", 460, 170, 3));
  put(run / "both.csv", kHead + record("ash", 460, 170, 3) + record("1", 520, 140, 5));
}

}  // namespace

TEST_CASE("calibrate: what it shows, and the lines to paste") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm calibrate -q --rules rules.toml ash.csv");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(
      ran.out.starts_with("ash.csv: 262 lines, 261 samples\n\nash (heater 0): 1 heat-up, 1 "
                          "cool-down; "));
  for (const char* part : {"\n  full_drive_c          460.00", "\n  time_constant_s       170.00",
                           "\n  dead_time_s           3.00", "\n  residuals in C, rms 0.000:\n",
                           "heating ", "cooling\n",
                           "\n[toolhead.heater]  # ash\nfull_drive_c = 460\ntime_constant_s = "
                           "170\ndead_time_s = 3\n"}) {
    CAPTURE(part, ran.out);
    CHECK(ran.out.find(part) != std::string::npos);
  }
  CHECK(get(run / "rules.toml") == kRules);
}

TEST_CASE("calibrate: JSON, from standard input and several records") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm calibrate -q --rules rules.toml --json - - ash.csv <both.csv");
  REQUIRE(ran.code == 0);
  const auto json = nlohmann::json::parse(ran.out);
  CHECK(json["schema_version"] == 1);
  REQUIRE(json["heaters"].size() == 2);
  const auto& ash = json["heaters"][0];
  CHECK(ash["toolhead"] == "ash");
  CHECK(ash["heater"] == 0);
  CHECK(ash["heat_ups"] == 2);
  CHECK(ash["cool_downs"] == 2);
  CHECK(ash["full_drive_c"].get<double>() == Approx(460).epsilon(1e-4));
  CHECK(ash["settle_s"].is_null());
  CHECK(ash["refused"].is_null());
  const auto& cedar = json["heaters"][1];
  CHECK(cedar["toolhead"] == "cedar");
  CHECK(cedar["time_constant_s"].get<double>() == Approx(140).epsilon(1e-4));
  CHECK(cedar["dead_time_s"].get<double>() == Approx(5).epsilon(1e-3));
  for (const char* key : {"full_drive_c_sd", "time_constant_s_sd", "dead_time_s_sd", "ambient_c",
                          "cool_time_constant_s", "approach_c", "rms_c", "samples"}) {
    CHECK(cedar.contains(key));
  }
}

TEST_CASE("calibrate: the old rules are kept under the hash of their file, whatever --set says") {
  Bench run;
  furnish(run);
  const std::string old = get(run / "rules.toml");
  const Ran ran = run(
      "forewarm calibrate --set machine.ambient_c=22 --ambient fit --write rules.toml both.csv");
  CHECK(ran.code == 0);
  const std::string kept = "the old file is rules.toml.";
  REQUIRE(ran.err.find(kept) != std::string::npos);
  const std::string name = ran.err.substr(ran.err.find(kept) + kept.size() - 11, 27);
  CHECK(get(run / name) == old);
  // As `rules check` has it.
  const Ran shown = run("forewarm rules check " + name);
  CHECK(shown.out.find(name.substr(11)) != std::string::npos);
}

TEST_CASE("calibrate: --write changes the keys in place, and nothing else") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm calibrate --ambient fit --write rules.toml both.csv");
  CHECK(ran.code == 0);
  CHECK(ran.err.find("rules.toml: 7 values written") != std::string::npos);
  CHECK(get(run / "rules.toml") == R"(# Mine.
version = 1
[machine]
ambient_c = 23          # in winter
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 460, time_constant_s = 170, max_c = 290, dead_time_s = 3 } # guessed
[[toolhead]]
name = "cedar"
tools = [1]
  [toolhead.heater]
  power_w = 50
  full_drive_c = 520    # where it would end
  time_constant_s = 140
  dead_time_s = 5
)");
  const std::string once = get(run / "rules.toml");
  CHECK(run("forewarm calibrate -q --ambient fit --write rules.toml both.csv").code == 0);
  CHECK(get(run / "rules.toml") == once);
}

TEST_CASE("calibrate: what is refused, and leaves all as it is") {
  Bench run;
  furnish(run);
  put(run / "cold.csv", "time_s,temp_c,drive\n" + std::string("0,20,0\n1,20.1,0\n"));
  put(run / "odd.csv", kHead + record("elm", 460, 170, 3));
  put(run / "bad.csv", "time_s,temp_c\n1,warm\n");
  struct Case {
    std::string arguments;
    int code;
    std::string says;
  };
  for (const Case& c :
       {Case{"", 2, "RECORD is required"}, Case{"none.csv", 4, "none.csv: cannot open"},
        Case{"bad.csv", 3, "bad.csv:2:3: \"warm\" is no temperature"},
        Case{"--write rules.toml cold.csv", 3,
             "cold.csv: heater: there are only 2 samples of it, and 20 are needed"},
        Case{"--write rules.toml odd.csv", 3,
             "no toolhead of the rule file has the heater elm of the record"},
        Case{"--ambient warm ash.csv", 2, "--ambient is fit, or a temperature in C, not warm"},
        Case{"--write rules.toml --rules other.toml ash.csv", 2,
             "--write and --rules name two rule files"},
        Case{"--write none.toml ash.csv", 2, "none.toml: cannot open"},
        Case{"--json ash.csv ash.csv", 2, "would overwrite the record"},
        Case{"--json rules.toml --write rules.toml ash.csv", 2, "would overwrite the rule file"}}) {
    CAPTURE(c.arguments);
    const Ran ran = run("forewarm calibrate -q " + c.arguments);
    CHECK(ran.code == c.code);
    CAPTURE(ran.err);
    CHECK(ran.err.find(c.says) != std::string::npos);
    CHECK(ran.out.empty());
  }
  CHECK(get(run / "rules.toml") == kRules);
}

TEST_CASE("calibrate: without a rule file, heaters have their numbers") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm calibrate both.csv");
  CHECK(ran.code == 0);
  CHECK(ran.err.find("built-in guesses") != std::string::npos);
  CHECK(ran.out.find("\nash: 1 heat-up") != std::string::npos);
  CHECK(ran.out.find("\nheater 1: 1 heat-up") != std::string::npos);
}

TEST_CASE("calibrate: --make-job writes a job that says which rules it is for, and is restored") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm calibrate --rules rules.toml --make-job measure.gcode --to-c 210");
  CHECK(ran.code == 0);
  CHECK(ran.out.empty());
  CHECK(ran.err.find("echoes are written as M118 {text}: [dialect] has no echo\n") !=
        std::string::npos);
  const std::string job = get(run / "measure.gcode");
  CHECK(job.starts_with(";forewarm 1 rules="));
  CHECK(job.find("\n; measuring job of forewarm calibrate\n; each heater up to 210 C, 3 times") !=
        std::string::npos);
  // How long it takes is said in the job and beside it.
  const std::size_t at = job.find("; takes about ");
  REQUIRE(at != std::string::npos);
  const std::string length = job.substr(at + 14, job.find(',', at) - at - 14);
  CHECK(ran.err.find("heaters up to 210 C; takes about " + length + "; its first lines say") !=
        std::string::npos);
  // It can be judged, planned, which leaves it alone, and taken back.
  const Ran checked = run("forewarm check -q --rules rules.toml measure.gcode");
  CHECK(checked.code == 0);
  CHECK(run("forewarm rewrite -q --rules rules.toml measure.gcode -o again.gcode").code == 0);
  CHECK(run("forewarm restore -q measure.gcode").code == 0);
  CHECK(get(run / "measure.gcode") == job.substr(job.find('\n') + 1));
  CHECK(get(run / "again.gcode") == get(run / "measure.gcode"));
}

TEST_CASE("calibrate: a measuring job on standard output, and in place of an earlier one") {
  Bench run;
  furnish(run);
  const Ran first = run("forewarm calibrate -q --rules rules.toml --make-job - --exchanges");
  CHECK(first.code == 0);
  CHECK(first.err.empty());
  put(run / "measure.gcode", first.out);
  CHECK(run("forewarm calibrate -q --rules rules.toml --make-job measure.gcode --to-c 250").code ==
        0);
  CHECK(get(run / "measure.gcode").find("up to 250 C") != std::string::npos);
}

TEST_CASE("calibrate: what --make-job refuses, and leaves all as it is") {
  Bench run;
  furnish(run);
  struct Case {
    std::string arguments;
    std::string says;
  };
  for (const Case& c :
       {Case{"--make-job new.gcode ash.csv", "--make-job makes a job, and reads no RECORD"},
        Case{"--make-job new.gcode --robust", "--make-job goes with --to-c, --exchanges and"},
        Case{"--make-job new.gcode --write rules.toml", "--make-job goes with --to-c"},
        Case{"--make-job ash.csv", "ash.csv: this file is not an earlier measuring job"},
        Case{"--make-job rules.toml", "rules.toml: the job would overwrite the rule file"},
        Case{"--make-job new.gcode --to-c warm", "--to-c is a temperature in C, not warm"},
        Case{"--make-job new.gcode --to-c 295", "--to-c 295 is above max_c = 290 of ash"},
        Case{"--make-job new.gcode --to-c 60", "--to-c 60 is too low to tell anything"},
        Case{"--to-c 200 ash.csv", "--to-c and --exchanges say what job --make-job is to write"},
        Case{"--exchanges ash.csv", "--to-c and --exchanges say what job"}}) {
    CAPTURE(c.arguments);
    const Ran ran = run("forewarm calibrate -q --rules rules.toml " + c.arguments);
    CHECK(ran.code == 2);
    CAPTURE(ran.err);
    CHECK(ran.err.find(c.says) != std::string::npos);
    CHECK(ran.out.empty());
  }
  CHECK(get(run / "rules.toml") == kRules);
  CHECK(get(run / "ash.csv").starts_with(kHead));
  CHECK_FALSE(std::filesystem::exists(run / "new.gcode"));
  // Without a rule file there is nothing to measure.
  const Ran none = run("forewarm calibrate -q --make-job new.gcode");
  CHECK(none.code == 2);
  const Ran guesses = run("forewarm calibrate -q --rules built-in --make-job new.gcode");
  CHECK(guesses.err.find("the rules name no toolheads to measure") != std::string::npos);
}
