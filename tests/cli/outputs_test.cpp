// What outputs must not overwrite: a job, a rule file, a matrix, each other, anybody else's file.
#include "cli/outputs.h"

#include <sys/stat.h>

#include <map>

#include "cli_test_help.h"

using namespace forewarm;
using namespace forewarm::cli;

namespace {

const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";

const std::string kJob =
    "M83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 X20 E1 F1200\nT1\nM109 T1 S210\n"
    "G1 X10 E1\nG4 S400\nG1 X30 E1\nT0\nM109 T0 S200\nG1 X10 E1\n";

const std::string kError = "forewarm: error: ";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
  put(run / "purge.csv", "g,T0,T1,T2\nT0,,9,9\nT1,9,,2\nT2,9,2,\n");
  put(run / "notes.txt", "walk the ridge first\n");
  REQUIRE(run("forewarm rewrite -q --rules two.toml job.gcode -o new.gcode && ln -s job.gcode link "
              "&& ln two.toml other_name && ln -s . here")
              .code == 0);
}

// Names and bytes of all files in the working folder.
std::map<std::string, std::string> contents(const Bench& run) {
  std::map<std::string, std::string> out;
  for (const std::string& name : run.names()) {
    if (std::filesystem::is_regular_file(run / name)) out[name] = get(run / name);
  }
  return out;
}

}  // namespace

TEST_CASE("what no output may be, by whatever name") {
  Bench run;
  furnish(run);
  const auto before = contents(run);
  const std::string job = "the report would overwrite the job\n";
  const std::string rules = "the report would overwrite the rule file\n";
  const std::string two = "two outputs would be one file\n";
  const auto foreign = [](const std::string& form) {
    return "this file is not an earlier " + form +
           " report, and would be lost\n  hint: name another file, or remove this one first\n";
  };
  struct Case {
    std::string line, file, says;
  };
  for (const Case& c : {
           // The job.
           Case{"rewrite job.gcode --html job.gcode", "job.gcode", job},
           Case{"rewrite job.gcode --json ./job.gcode", "./job.gcode", job},
           Case{"rewrite job.gcode --diff --json link", "link", job},
           Case{"rewrite job.gcode --dry-run --html here/job.gcode", "here/job.gcode", job},
           Case{"rewrite link --html job.gcode", "job.gcode", job},
           Case{"rewrite - --dry-run --html job.gcode <job.gcode", "job.gcode", job},
           Case{"forecast job.gcode --html $PWD/job.gcode", run / "job.gcode", job},
           Case{"forecast job.gcode --json link", "link", job},
           Case{"forecast job.gcode --csv here/../work/job.gcode", "here/../work/job.gcode", job},
           Case{"compare job.gcode --json job.gcode", "job.gcode", job},
           Case{"compare job.gcode --csv link", "link", job},
           Case{"assign job.gcode --json link", "link", job},
           Case{"check job.gcode new.gcode --json job.gcode", "job.gcode", job},
           Case{"check job.gcode new.gcode --json new.gcode", "new.gcode", job},
           Case{"check new.gcode --json ./new.gcode", "./new.gcode", job},
           // The rule file in force.
           Case{"rewrite job.gcode --html two.toml", "two.toml", rules},
           Case{"rewrite job.gcode --json other_name", "other_name", rules},
           Case{"forecast job.gcode --html ./two.toml", "./two.toml", rules},
           Case{"forecast job.gcode --json here/two.toml", "here/two.toml", rules},
           Case{"forecast job.gcode --csv other_name", "other_name", rules},
           Case{"compare job.gcode --json two.toml", "two.toml", rules},
           Case{"compare job.gcode --csv two.toml", "two.toml", rules},
           Case{"assign job.gcode --json two.toml", "two.toml", rules},
           Case{"check job.gcode new.gcode --json two.toml", "two.toml", rules},
           Case{"rewrite job.gcode -o two.toml", "two.toml",
                "the job would overwrite the rule file\n"},
           Case{"rewrite job.gcode -o here/other_name", "here/other_name",
                "the job would overwrite the rule file\n"},
           // The matrix.
           Case{"assign job.gcode --matrix purge.csv --json purge.csv", "purge.csv",
                "the report would overwrite the matrix\n"},
           Case{"assign job.gcode --matrix here/purge.csv --json purge.csv", "purge.csv",
                "the report would overwrite the matrix\n"},
           // Another output, there already or not yet.
           Case{"rewrite job.gcode --html f --json f", "f", two},
           Case{"rewrite job.gcode --html f --json ./f", "./f", two},
           Case{"rewrite job.gcode -o f --json here/f", "f", two},
           Case{"rewrite job.gcode -o new.gcode --json new.gcode", "new.gcode", two},
           Case{"forecast job.gcode --html f --json here/../work/f", "here/../work/f", two},
           Case{"forecast job.gcode --json f --csv $PWD/f", run / "f", two},
           Case{"compare job.gcode --json f --csv here/here/f", "here/here/f", two},
           // Somebody else's file.
           Case{"rewrite job.gcode --html notes.txt", "notes.txt", foreign("HTML")},
           Case{"rewrite job.gcode --json notes.txt", "notes.txt", foreign("JSON")},
           Case{"forecast job.gcode --html notes.txt", "notes.txt", foreign("HTML")},
           Case{"forecast job.gcode --json new.gcode", "new.gcode", foreign("JSON")},
           Case{"forecast job.gcode --csv notes.txt", "notes.txt", foreign("CSV")},
           Case{"compare job.gcode --json notes.txt", "notes.txt", foreign("JSON")},
           Case{"compare job.gcode --csv purge.csv", "purge.csv", foreign("CSV")},
           Case{"assign job.gcode --json purge.csv", "purge.csv", foreign("JSON")},
           Case{"check new.gcode --json link", "link", foreign("JSON")},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("FOREWARM_RULES=two.toml forewarm " + c.line);
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == kError + c.file + ": " + c.says);
    CHECK(contents(run) == before);
  }
}

TEST_CASE("what is said comes before the work: the job is not even opened") {
  Bench run;
  furnish(run);
  for (const char* line :
       {"rewrite none.gcode --html notes.txt", "forecast none.gcode --csv notes.txt",
        "compare none.gcode --json two.toml", "assign none.gcode --json two.toml",
        "check none.gcode --json notes.txt"}) {
    CAPTURE(line);
    CHECK(run(std::string("forewarm ") + line + " --rules two.toml").code == 2);
  }
}

TEST_CASE("standard output that was led into a file is an output as well") {
  Bench run;
  furnish(run);
  const std::string command = "FOREWARM_RULES=two.toml forewarm ";
  for (const char* line :
       {"forecast job.gcode --json f >f", "rewrite job.gcode -o - --json f >f",
        "rewrite job.gcode --diff --html f >f", "compare job.gcode --csv f >f",
        "forecast job.gcode --json - --html f >f", "rewrite job.gcode -o f --json - >f"}) {
    CAPTURE(line);
    const Ran ran = run(command + line);
    CHECK(ran.code == 2);
    CHECK(ran.err == kError + "f: two outputs would be one file\n");
    CHECK(get(run / "f").empty());
    REQUIRE(run("rm f").code == 0);
  }
  const auto before = contents(run);
  struct Case {
    std::string line, file, lost;
  };
  for (const Case& c : {
           Case{"forecast job.gcode >>job.gcode", "job.gcode", "job"},
           Case{"forecast job.gcode --json - >>link", "job.gcode", "job"},
           Case{"compare job.gcode >>other_name", "two.toml", "rule file"},
           Case{"assign job.gcode --matrix purge.csv >>purge.csv", "purge.csv", "matrix"},
           Case{"rewrite job.gcode -o - >>job.gcode", "job.gcode", "job"},
           Case{"rewrite job.gcode --diff >>job.gcode", "job.gcode", "job"},
           Case{"rewrite job.gcode -o /dev/stdout >>two.toml", "two.toml", "rule file"},
           Case{"check job.gcode new.gcode >>new.gcode", "new.gcode", "job"},
       }) {
    CAPTURE(c.line);
    const Ran ran = run(command + c.line);
    CHECK(ran.code == 2);
    CHECK(ran.err == kError + c.file + ": standard output would overwrite the " + c.lost + "\n");
    CHECK(contents(run) == before);
  }
}

TEST_CASE("/dev/stdout and its other names are standard output") {
  Bench run;
  furnish(run);
  const std::string forecast = "forewarm forecast -q --rules two.toml job.gcode ";
  const std::string json = run(forecast + "--json -").out;
  REQUIRE(json.starts_with("{\n"));
  for (const char* name : {"/dev/stdout", "/dev/fd/1", "/proc/self/fd/1"}) {
    CAPTURE(name);
    CHECK(run(forecast + "--json " + name).out == json);
    CHECK(run(forecast + "--json " + name + " >f; cat f").out == json);
    const Ran two = run(forecast + "--json - --csv " + name);
    CHECK(two.code == 2);
    CHECK(two.err == kError + "only one result can go to standard output\n");
  }
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode -o /dev/stdout").out ==
        get(run / "new.gcode"));
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode -o - --json /dev/stdout").code == 2);
}

TEST_CASE("every report replaces an earlier one of its form, and an empty file") {
  Bench run;
  furnish(run);
  const std::string rules = " -q --rules two.toml ";
  const auto written = [&](const std::string& line) {
    CAPTURE(line);
    const Ran ran = run("forewarm " + line + rules);
    CHECK(ran.err.empty());
    REQUIRE(ran.code <= 1);
    auto out = contents(run);
    out.erase("job.gcode");  // rewritten in place by some
    return out;
  };
  for (const char* line :
       {"rewrite job.gcode --html f.html --json f.json", "rewrite job.gcode --diff --html f.html",
        "forecast job.gcode --html f.html --json f.json --csv f.csv",
        "compare job.gcode --json f.json --csv f.csv", "assign job.gcode --json f.json",
        "assign job.gcode --matrix purge.csv --json f.json",
        "check job.gcode new.gcode --json f.json", "check new.gcode --json f.json"}) {
    CAPTURE(line);
    REQUIRE(run("touch f.html f.json f.csv").code == 0);
    const auto first = written(line);
    CHECK(written(line) == first);
  }
  // And one of another command, of the same form.
  const auto compared = written("compare job.gcode --json f.json --csv f.csv");
  (void)written("forecast job.gcode --json f.json --csv f.csv");
  CHECK(written("compare job.gcode --json f.json --csv f.csv") == compared);
  // Through a link, which stays.
  REQUIRE(run("ln -s f.json leads").code == 0);
  (void)written("assign job.gcode --json leads");
  CHECK(std::filesystem::is_symlink(run / "leads"));
  CHECK(get(run / "f.json").find("\"baseline\"") != std::string::npos);
}

TEST_CASE("pipes, devices and descriptors are written through, whatever is in them") {
  Bench run;
  furnish(run);
  const std::string forecast = "forewarm forecast -q --rules two.toml job.gcode ";
  CHECK(run(forecast + "--html /dev/null --json /dev/null --csv /dev/null").code == 0);
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode -o /dev/null --json /dev/null").code ==
        0);
  const std::string json = run(forecast + "--json -").out;
  CHECK(run("mkfifo pipe; cat pipe >got & " + forecast + "--json pipe >/dev/null; wait; cat got")
            .out == json);
  CHECK(run(forecast + "--json /dev/fd/3 3>>notes.txt >/dev/null; cat notes.txt").out ==
        "walk the ridge first\n" + json);
  CHECK(run(forecast + "--json /dev/stderr 2>&1 >/dev/null | cat").out == json);
}

TEST_CASE("a file that turns up during the work is not lost either") {
  Bench run;
  furnish(run);
  const Context context({});
  Outputs outputs(context, {.json = run / "f.json", .inputs = {{"the job", run / "job.gcode"}}});
  REQUIRE(outputs.check());
  put(run / "f.json", "mine\n");
  const Status written = outputs.write({.json = "{}"});
  REQUIRE_FALSE(written);
  CHECK(render(written.error()) ==
        (run / "f.json") +
            ": this file is not an earlier JSON report, and would be lost\n"
            "  hint: name another file, or remove this one first");
  CHECK(exit_code(written.error()) == kUsage);
  CHECK(get(run / "f.json") == "mine\n");
}

TEST_CASE("the built-in guesses are no file") {
  Bench run;
  furnish(run);
  put(run / "built-in guesses", "");
  CHECK(run("forewarm forecast -q job.gcode --json 'built-in guesses'").code == 0);
}

TEST_CASE("batch: no output is the rule file") {
  Bench run;
  furnish(run);
  const auto before = contents(run);
  REQUIRE(run("mkdir out jobs && cp job.gcode jobs/ && cp job.gcode jobs/r.toml && "
              "mv two.toml out/r.toml && ln -s out/r.toml two.toml")
              .code == 0);
  for (const char* rules : {"two.toml", "out/r.toml", "other_name", "here/out/r.toml"}) {
    CAPTURE(rules);
    const Ran ran =
        run("forewarm batch -q -o out jobs/job.gcode jobs/r.toml --rules " + std::string(rules));
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == kError + "out/r.toml: the output would overwrite the rule file\n");
    CHECK(run("ls -A out").out == "r.toml\n");
    CHECK(get(run / "out/r.toml") == kRules);
  }
  CHECK(run("forewarm batch -q -o out jobs/job.gcode --rules two.toml").code == 0);
  CHECK(get(run / "out/job.gcode") == before.at("new.gcode"));
}
