// `forewarm compare` as users run it.
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

// Two toolheads with a tool each; the off timer is one of the usual ones.
const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
[[toolhead]]
name = "cedar"
tools = [1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
[gap]
timer_off_s = 600
)";

const std::string kJob =
    "G21\nG90\nM83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 X10 Y10 F6000\n"
    "G1 X20 Y10 E1 F1200\nT1\nM109 T1 S210\nG1 X10 Y20 E1\nG4 S800\n"
    "G1 X10 Y30 E1\nT0\nM109 T0 S200\nG1 X10 Y30 E1\n";

const std::string kError = "forewarm: error: ";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
}

Ran compare(const Bench& run, const std::string& arguments) {
  return run("forewarm compare -q --rules two.toml " + arguments);
}

}  // namespace

TEST_CASE("compare: the table, and nothing on stderr") {
  Bench run;
  furnish(run);
  const Ran ran = compare(run, "job.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out.starts_with("job.gcode\n  on machine\n"));
  // Off for 800 s: timers of up to 10 min cool the heater, longer ones leave it on standby.
  for (const char* part : {"\nas-sliced ", "\ntimers, off 5 min  ", "\ntimers, off 10 min +  ",
                           "\ntimers, off 20 min  ", "\ntimers, off 60 min  ", "\nhold ",
                           "\nlookahead * ", "\nphysical bound ", "\nagainst as-sliced ",
                           "\noff timer, instead of the rule file's 10 min\n", "\nlookahead takes ",
                           "\nHot ends burn"}) {
    CAPTURE(part);
    CHECK(ran.out.find(part) != std::string::npos);
  }
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run.names() == std::vector<std::string>{"job.gcode", "two.toml"});
}

TEST_CASE("compare: standard input, and a rewritten job, give the job's own comparison") {
  Bench run;
  furnish(run);
  const std::string figures = compare(run, "--csv - job.gcode").out;
  CHECK(figures.size() > 300);
  CHECK(compare(run, "--csv - - <job.gcode").out == figures);
  CHECK(compare(run, "- <job.gcode").out.starts_with("standard input\n"));
  REQUIRE(run("forewarm rewrite -q --rules two.toml job.gcode").code == 0);
  CHECK(get(run / "job.gcode") != kJob);
  CHECK(compare(run, "--csv - job.gcode").out == figures);
}

TEST_CASE("compare: JSON and CSV on standard output stand alone, in files beside the table") {
  Bench run;
  furnish(run);
  const std::string sweep = "--sweep off_over_s=300:900:300 --sweep timer_standby_s=30 ";
  const Ran json = compare(run, sweep + "--json - job.gcode");
  CHECK(json.code == 0);
  CHECK(json.err.empty());
  const auto parsed = nlohmann::json::parse(json.out, nullptr, false);
  REQUIRE(parsed.is_object());
  CHECK(parsed.at("schema_version") == 1);
  CHECK(parsed.at("job").at("path") == "job.gcode");
  CHECK(parsed.at("job").at("bytes") == kJob.size());
  CHECK(parsed.at("bound").size() == 2);
  std::string rows;
  for (const auto& row : parsed.at("rows")) {
    rows += row.at("policy").get<std::string>() + " " + row.at("swept").dump() + " " +
            row.at("value").dump() + " " + row.at("off_over_s").dump() + " " +
            row.at("timer_standby_s").dump() + " " + row.at("timer_off_s").dump() + "\n";
  }
  CHECK(rows == R"(as_sliced null null null null null
timers null null null 0.0 300.0
timers null null null 0.0 600.0
timers null null null 0.0 1200.0
timers null null null 0.0 1800.0
timers null null null 0.0 3600.0
hold null null null null null
lookahead null null 1500.0 null null
lookahead "off_over_s" 300.0 300.0 null null
lookahead "off_over_s" 600.0 600.0 null null
lookahead "off_over_s" 900.0 900.0 null null
timers "timer_standby_s" 30.0 null 30.0 600.0
)");

  const Ran csv = compare(run, sweep + "--csv - job.gcode");
  CHECK(csv.code == 0);
  CHECK(
      csv.out.starts_with("policy,swept,value,off_over_s,timer_standby_s,timer_off_s,duration_s,"
                          "wait_s,hot_idle_s,energy_wh,cold_starts,peak_heating_w,peak_all_w,"
                          "over_limit_s,over_limit_own_s\nas_sliced,"));
  CHECK(std::count(csv.out.begin(), csv.out.end(), '\n') == 1 + 12 + 1);

  const Ran both = compare(run, sweep + "--json f.json --csv f.csv job.gcode");
  CHECK(both.code == 0);
  CHECK(both.out == compare(run, sweep + "job.gcode").out);
  CHECK(get(run / "f.json") == json.out);
  CHECK(get(run / "f.csv") == csv.out);
  CHECK(compare(run, sweep + "--json g.json --csv - job.gcode").out == csv.out);
  CHECK(get(run / "g.json") == json.out);
}

TEST_CASE("compare: an off timer that is longer than the gap saves the restart") {
  Bench run;
  furnish(run);
  const auto rows = nlohmann::json::parse(compare(run, "--json - job.gcode").out).at("rows");
  const auto& ten = rows.at(2);
  const auto& twenty = rows.at(3);
  REQUIRE(ten.at("timer_off_s") == 600);
  REQUIRE(twenty.at("timer_off_s") == 1200);
  CHECK(twenty.at("duration_s").get<double>() < ten.at("duration_s").get<double>() - 10);
  CHECK(twenty.at("cold_starts").get<int>() == ten.at("cold_starts").get<int>() - 1);
  const std::string out = run("COLUMNS=100 forewarm compare -q --rules two.toml job.gcode").out;
  const std::size_t at = out.find("        20 min  ");
  REQUIRE(at != std::string::npos);
  const std::string said = out.substr(at, out.find('\n', at) - at);
  CHECK(said.find(" shorter, ") != std::string::npos);
  CHECK(said.ends_with(" Wh more, 1 cold start fewer"));
}

TEST_CASE("compare: command lines that are refused") {
  Bench run;
  furnish(run);
  put(run / "cold.gcode", "M83\nM109 T0 S200\nT0\nG1 X10 E1 F600\nT1\nG1 X20 E1\n");
  put(run / "bad.toml", kRules + "timer_of_s = 5\n");
  const std::string form = "\n  hint: --sweep KEY=FROM:TO:STEP, as in off_over_s=300:3600:300\n";
  struct Case {
    std::string line;
    int code;
    std::string says;
  };
  for (const Case& c : {
           Case{"", 2, "JOB is required\n  hint: forewarm --help, or --help after a command\n"},
           Case{
               "job.gcode --sweep", 2,
               "--sweep: 1 required KEY=VALUES missing\n  hint: forewarm --help, or --help after a "
               "command\n"},
           Case{"job.gcode --sweep timer_of_s=1:2:1", 2,
                "--sweep timer_of_s=1:2:1: no number of [gap] is called \"timer_of_s\"\n  hint: "
                "did you mean \"timer_off_s\"?\n"},
           Case{"job.gcode --sweep off_over_s=3600:300:300", 2,
                "--sweep off_over_s=3600:300:300: goes from more to less\n  hint: --sweep "
                "off_over_s=300:3600:300\n"},
           Case{"job.gcode --sweep off_over_s=300:3600:0", 2,
                "--sweep off_over_s=300:3600:0: the step must be more than 0\n"},
           Case{"job.gcode --sweep off_over_s=0:200:1", 2,
                "--sweep off_over_s=0:200:1: 201 values; no more than 200 at once\n  hint: take a "
                "longer step\n"},
           Case{"job.gcode --sweep off_over_s=0:100:1 --sweep hold_drop_c=0:99:1", 2,
                "--sweep hold_drop_c=0:99:1: with the sweeps before it, 201 values; no more than "
                "200 at once\n  hint: take longer steps, or compare more than once\n"},
           Case{"job.gcode --sweep on_time=0.2", 2,
                "--sweep on_time=0.2: on_time must be from 0.5 to 0.999999, not 0.2\n"},
           Case{"job.gcode --sweep off_over_s", 2, "--sweep off_over_s: which values?" + form},
           Case{"job.gcode --sweep off_over_s=best", 2,
                "--sweep off_over_s=best: \"best\" is no number" + form},
           // A sweep that is wrong is said before any file is looked for.
           Case{"no.gcode --sweep off_over_s=2:1:1", 2,
                "--sweep off_over_s=2:1:1: goes from more to less\n  hint: --sweep "
                "off_over_s=1:2:1\n"},
           Case{"job.gcode --json - --csv -", 2, "only one result can go to standard output\n"},
           Case{"job.gcode --json job.gcode", 2, "job.gcode: the report would overwrite the job\n"},
           Case{"job.gcode --csv ./job.gcode", 2,
                "./job.gcode: the report would overwrite the job\n"},
           Case{"no.gcode", 4, "no.gcode: cannot open: No such file or directory\n"},
           Case{"job.gcode --csv no/f.csv", 4,
                "no: cannot open this folder: No such file or directory\n"},
       }) {
    CAPTURE(c.line);
    const Ran ran = compare(run, c.line);
    CHECK(ran.code == c.code);
    CHECK(ran.out.empty());
    CHECK(ran.err == kError + c.says);
  }
  const Ran cold = compare(run, "cold.gcode");
  CHECK(cold.code == 3);
  CHECK(cold.out.empty());
  CHECK(cold.err.starts_with(kError + "cold.gcode:"));
  const Ran bad = run("forewarm compare --rules bad.toml job.gcode");
  CHECK(bad.code == 2);
  CHECK(bad.err.find("did you mean \"timer_off_s\"?") != std::string::npos);
  for (const char* line : {"job.gcode two.toml", "--bogus job.gcode"}) {
    CAPTURE(line);
    CHECK(compare(run, line).code == 2);
  }
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run.names() == std::vector<std::string>{"bad.toml", "cold.gcode", "job.gcode", "two.toml"});
}

TEST_CASE("compare: 200 values are not too many") {
  Bench run;
  furnish(run);
  const Ran ran = compare(run, "--sweep off_over_s=10:2000:10 --csv - job.gcode");
  CHECK(ran.code == 0);
  CHECK(std::count(ran.out.begin(), ran.out.end(), '\n') == 1 + 8 + 200 + 1);
}

TEST_CASE("compare: a broken pipe is quiet, a full disk is not") {
  Bench run;
  furnish(run);
  // More than a pipe holds.
  const std::string many =
      "forewarm compare -q --rules two.toml --sweep off_over_s=10:2000:10 --json - job.gcode";
  CHECK(run(many).out.size() > 70'000);
  CHECK(run("{ " + many + "; echo $? >&2; } | head -c 1 >/dev/null").err == "4\n");
  const Ran full = compare(run, "--csv - job.gcode >/dev/full");
  CHECK(full.code == 4);
  CHECK(full.err == kError + "standard output: cannot write: No space left on device\n");
}

TEST_CASE("compare: help has an example") {
  Bench run;
  const Ran ran = run("forewarm compare --help");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out.find("Example: forewarm compare") != std::string::npos);
  CHECK(ran.out.find("KEY=FROM:TO:STEP") != std::string::npos);
}

TEST_CASE("compare: the fixtures, each figure as the forecast has it") {
  Bench run;
  const auto rows_of = [](const nlohmann::json& j, const std::string& policy) {
    std::vector<nlohmann::json> out;
    for (auto row : j.at("rows")) {
      if (row.at("policy") == policy) out.push_back(row);
    }
    return out;
  };
  for (const char* name : {"trail_map_crlf", "trail_map_arcs", "single_tool"}) {
    CAPTURE(name);
    const std::string job = std::string("\"$FIXTURES/") + name + ".gcode\"";
    const std::string with = " -q --rules \"$CONFIG/demo.toml\" --json - " + job;
    const auto compared = nlohmann::json::parse(run("forewarm compare" + with).out);
    const auto forecast = nlohmann::json::parse(run("forewarm forecast" + with).out);
    CHECK(compared.at("job") == forecast.at("job"));
    CHECK(compared.at("bound") == forecast.at("bound"));
    for (const auto& [policy, figures] : forecast.at("policies").items()) {
      CAPTURE(policy);
      std::size_t same = 0;
      for (const auto& row : rows_of(compared, policy)) {
        if (policy == "timers" && row.at("timer_off_s") != 900) continue;  // config/demo.toml
        ++same;
        for (const auto& [key, value] : figures.items()) {
          CAPTURE(key);
          CHECK(row.at(key) == value);
        }
      }
      CHECK(same == 1);
    }
  }
}
