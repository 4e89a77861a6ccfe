// `forewarm compare` of several rule files and settings, as users run it.
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;
using nlohmann::json;

namespace {

// Two toolheads; T2 is fed to the second, whose feeder is slow.
const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
exchange_s = 60
)";

// The same with a toolhead of its own for T2.
const std::string kThreeHeads = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
[[toolhead]]
name = "birch"
tools = [1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
[[toolhead]]
name = "cedar"
tools = [2]
heater = { power_w = 60, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
)";

const std::string kJob =
    "G21\nG90\nM83\nM104 T0 S200\nM104 T1 S210\nM104 T2 S215\nT0\nM109 T0 S200\nG1 X10 Y10 F6000\n"
    "G1 X20 Y10 E1 F1200\nT1\nM109 T1 S210\nG1 X10 Y20 E1\nG4 S200\nT2\nM109 S215\n"
    "G1 X10 Y30 E1\nT0\nM109 T0 S200\nG1 X10 Y30 E1\nT1\nM109 S210\nG1 X10 Y40 E1\n";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "three.toml", kThreeHeads);
  put(run / "job.gcode", kJob);
}

json compared(const Bench& run, const std::string& arguments) {
  const Ran ran = run("forewarm compare -q " + arguments + " --json - job.gcode");
  CHECK(ran.err.empty());
  REQUIRE(ran.code == 0);
  return json::parse(ran.out);
}

// "two.toml [toolhead.birch.exchange_s = 20]", a line for each row.
std::string rows_of(const json& j) {
  std::string out;
  for (const auto& row : j.at("rows")) {
    out += row.at("rules").at("path").is_null() ? "built-in" : row.at("rules").at("path");
    for (const auto& s : row.at("rules").value("set", json::array())) {
      out += " [" + s.get<std::string>() + ']';
    }
    out += '\n';
  }
  return out;
}

// What the forecast says of the row's policy by its rules.
json forecast(const Bench& run, const std::string& arguments, const std::string& policy) {
  const Ran ran = run("forewarm forecast -q " + arguments + " --json - job.gcode");
  REQUIRE(ran.code == 0);
  const json j = json::parse(ran.out);
  json out = j.at("policies").at(policy);
  out["changes"] = j.at("changes");
  double purge_g = 0;
  std::uint64_t exchanges = 0;
  for (const auto& f : j.at("filaments")) {
    purge_g += f.at("purge_g").get<double>();
    exchanges += f.at("exchanges").get<std::uint64_t>();
  }
  out["exchanges"] = exchanges;
  out["rules"] = j.at("rules");
  if (policy == "lookahead") out["bound"] = j.at("bound");
  return out;
}

void check_row(const json& row, const json& expected) {
  for (const auto& [key, value] : expected.items()) {
    CAPTURE(key);
    CHECK(row.at(key) == value);
  }
}

}  // namespace

TEST_CASE("compare: a setting is shown beside the file as it is") {
  Bench run;
  furnish(run);
  const json j = compared(run, "--rules two.toml --set toolhead.birch.exchange_s=20");
  CHECK(rows_of(j) == "two.toml\ntwo.toml [toolhead.birch.exchange_s = 20]\n");
  check_row(j["rows"][0], forecast(run, "--rules two.toml", "lookahead"));
  check_row(j["rows"][1],
            forecast(run, "--rules two.toml --set toolhead.birch.exchange_s=20", "lookahead"));
  CHECK(j["rows"][0]["exchanges"] == 2);
  // Both exchanges are 40 s quicker; nothing else waits for them.
  CHECK(j["rows"][0]["change_s"].get<double>() - j["rows"][1]["change_s"].get<double>() ==
        Approx(80));
  CHECK(j["rules"] == j["rows"][0]["rules"]);
  CHECK(get(run / "two.toml") == kRules);
}

TEST_CASE("compare: several settings, each by itself, and all of them together") {
  Bench run;
  furnish(run);
  const std::string two = "--rules two.toml --set toolhead.birch.exchange_s=20 --set policy=hold";
  const json j = compared(run, two);
  CHECK(rows_of(j) ==
        "two.toml\ntwo.toml [toolhead.birch.exchange_s = 20]\ntwo.toml [policy = hold]\n"
        "two.toml [toolhead.birch.exchange_s = 20] [policy = hold]\n");
  CHECK(j["rows"][2]["policy"] == "hold");
  check_row(j["rows"][2], forecast(run, "--rules two.toml --set policy=hold", "hold"));
  check_row(j["rows"][3], forecast(run, two, "hold"));
  // One key at several values: they cannot hold together.
  CHECK(rows_of(compared(run,
                         "--rules two.toml --set gap.hold_drop_c=3 --set hold_drop_c=4 --set "
                         "toolhead.birch.exchange_s=20")) ==
        "two.toml\ntwo.toml [gap.hold_drop_c = 3]\ntwo.toml [hold_drop_c = 4]\n"
        "two.toml [toolhead.birch.exchange_s = 20]\n");
  const Ran text = run("COLUMNS=120 forewarm compare -q " + two + " job.gcode");
  CHECK(text.code == 0);
  for (const char* part :
       {"\n  row 1: two.toml\n  row 2: two.toml with toolhead.birch.exchange_s = 20\n"
        "  row 3: two.toml with policy = hold (by hold)\n"
        "  row 4: two.toml with toolhead.birch.exchange_s = 20, policy = hold (by hold)\n",
        "\nrow ", "\n4 ", "\nagainst row 1 ", "makes the job shortest, "}) {
    CAPTURE(part);
    CHECK(text.out.find(part) != std::string::npos);
  }
}

TEST_CASE("compare: several rule files, each as it is and with each setting") {
  Bench run;
  furnish(run);
  const json plain = compared(run, "--rules two.toml --rules three.toml");
  CHECK(rows_of(plain) == "two.toml\nthree.toml\n");
  check_row(plain["rows"][0], forecast(run, "--rules two.toml", "lookahead"));
  check_row(plain["rows"][1], forecast(run, "--rules three.toml", "lookahead"));
  // With a toolhead for each filament, nothing is exchanged.
  CHECK(plain["rows"][0]["exchanges"] == 2);
  CHECK(plain["rows"][1]["exchanges"] == 0);
  CHECK(plain["rows"][1]["duration_s"] < plain["rows"][0]["duration_s"]);
  CHECK(rows_of(compared(run, "--rules three.toml --rules two.toml --set off_over_s=300")) ==
        "three.toml\nthree.toml [off_over_s = 300]\ntwo.toml\ntwo.toml [off_over_s = 300]\n");
  CHECK(rows_of(compared(run, "--rules two.toml --rules built-in")) == "two.toml\nbuilt-in\n");
  const Ran csv =
      run("forewarm compare -q --rules two.toml --rules three.toml --csv - <job.gcode -");
  CHECK(csv.code == 0);
  CHECK(csv.out.starts_with("policy,swept,value,off_over_s,"));
  CHECK(std::count(csv.out.begin(), csv.out.end(), '\n') == 3);
}

TEST_CASE("compare: a setting that needs another one has no row of its own") {
  Bench run;
  furnish(run);
  const std::string near = "--set toolhead.ash.heater.approach_c=10 ";
  const std::string reached = "--set toolhead.ash.heater.reached_c=1 ";
  const Ran ran = run("forewarm compare --rules two.toml " + near + reached + "--json - job.gcode");
  REQUIRE(ran.code == 0);
  CHECK(rows_of(json::parse(ran.out)) ==
        "two.toml\ntwo.toml [toolhead.ash.heater.reached_c = 1]\n"
        "two.toml [toolhead.ash.heater.approach_c = 10] [toolhead.ash.heater.reached_c = 1]\n");
  CHECK(ran.err.find("info: not by itself: --set toolhead.ash.heater.approach_c = 10: ") !=
        std::string::npos);
  // Where all together are wrong, so is the comparison.
  CHECK(run("forewarm compare -q --rules two.toml " + near + "--json - job.gcode").code == 2);
}

TEST_CASE("compare: what is wrong with rule files side by side names the file") {
  Bench run;
  furnish(run);
  put(run / "one.toml", kRules.substr(0, kRules.rfind("[[toolhead]]")));
  put(run / "bad.toml", kRules + "park_ss = 5\n");
  struct Case {
    std::string line;
    int code;
    std::string says;
  };
  for (const Case& c : {
           Case{"--rules two.toml --rules one.toml", 3,
                "job.gcode:5:6: by one.toml: no toolhead serves T1\n"},
           Case{"--rules two.toml --rules no.toml", 2,
                "no.toml: cannot open: No such file or directory\n"},
           Case{"--rules two.toml --rules bad.toml", 2, "bad.toml:11:1: "},
           Case{"--rules two.toml --rules three.toml --set toolhead.cedar.park_s=3", 2,
                "by two.toml: --set toolhead.cedar.park_s = 3: there is no toolhead \"cedar\"\n"},
           Case{"--rules two.toml --set toolhead.cedar.park_s=3", 2,
                "--set toolhead.cedar.park_s = 3: there is no toolhead \"cedar\"\n"},
           Case{"--rules two.toml --set toolhead.birch.exchange_s=fast", 2,
                "--set toolhead.birch.exchange_s = fast: exchange_s must be a number, not a "
                "string\n"},
           Case{"--rules two.toml --set toolhead.birch.exchange_s", 2,
                "--set toolhead.birch.exchange_s: which key, and which value?\n"},
           Case{"--rules two.toml --set hold_drop_c=3 --sweep off_over_s=300", 2,
                "--sweep goes with one rule file as it is\n"},
           Case{"--rules two.toml --rules three.toml --sweep off_over_s=300", 2,
                "--sweep goes with one rule file as it is\n"},
           Case{"--rules two.toml --rules three.toml --json three.toml", 2,
                "three.toml: the report would overwrite the rule file\n"},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("forewarm compare -q " + c.line + " job.gcode");
    CHECK(ran.code == c.code);
    CHECK(ran.out.empty());
    CHECK(ran.err.substr(0, ("forewarm: error: " + c.says).size()) == "forewarm: error: " + c.says);
  }
  CHECK(get(run / "three.toml") == kThreeHeads);
}

TEST_CASE("compare: what is said of a job is said once") {
  Bench run;
  furnish(run);
  put(run / "job.gcode", kJob.substr(0, kJob.size() - 1) + "\nG1 X10");  // it breaks off
  const Ran ran = run("forewarm compare --rules two.toml --rules three.toml job.gcode");
  CHECK(ran.code == 0);
  const std::size_t at = ran.err.find("warning");
  REQUIRE(at != std::string::npos);
  CHECK(ran.err.find("warning", at + 1) == std::string::npos);
  CHECK(ran.err.find("rules: two.toml") != std::string::npos);
  CHECK(ran.err.find("rules: three.toml") != std::string::npos);
}
