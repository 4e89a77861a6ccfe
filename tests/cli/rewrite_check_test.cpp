// rewrite --check: the rewrite is checked before the job is written.
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;
using Json = nlohmann::ordered_json;

namespace {

bool has(const std::string& text, std::string_view what) {
  return text.find(what) != std::string::npos;
}

const std::string kRun = "forewarm rewrite -q --rules $CONFIG/demo.toml --check ";
const std::string kWrong =
    "the rewrite has 1 finding, and the job is left as it is:\n  job-breaks-off: ";

// A job that breaks off while it prints, which is a finding; or the whole one.
std::string job_of(bool whole) {
  const std::string text = get(FOREWARM_FIXTURES "/trail_map.gcode");
  return whole ? text : text.substr(0, text.size() / 2);
}

}  // namespace

TEST_CASE("rewrite --check writes a job without findings, and says so as check does") {
  const Bench run;
  put(run / "job.gcode", job_of(true));
  const Ran ran = run(kRun + "job.gcode -o new.gcode --html p.html --json p.json");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out.starts_with("no findings: "));
  CHECK(ran.out == run("forewarm check -q --rules $CONFIG/demo.toml job.gcode new.gcode").out);
  CHECK(has(get(run / "p.html"), "nothing is wrong with it. No findings: "));
  CHECK(has(get(run / "p.html"), std::string("forewarm ") + FOREWARM_VERSION));
  const Json found = Json::parse(get(run / "p.json"))["check"];
  CHECK(found["findings"].empty());
  CHECK(found["left_out"] == 0);

  // The same job as without it; in place, too, and where it is a stream.
  const std::string as_new = get(run / "new.gcode");
  CHECK(run("forewarm rewrite -q --rules $CONFIG/demo.toml job.gcode -o -").out == as_new);
  CHECK(run(kRun + "job.gcode -o -").out == as_new);
  CHECK(run(kRun + "- <job.gcode").out == as_new);
  const Ran in_place = run(kRun + "job.gcode");
  CHECK(in_place.code == 0);
  CHECK(in_place.out == ran.out);
  CHECK(get(run / "job.gcode") == as_new);
}

TEST_CASE("rewrite --check writes no job that has findings, but the reports") {
  const Bench run;
  const std::string job = job_of(false);
  put(run / "job.gcode", job);
  put(run / "new.gcode", "an older one\n");
  const Ran ran = run(kRun + "job.gcode -o new.gcode --html p.html --json p.json");
  CHECK(ran.code == 1);
  CHECK(has(ran.out, "new.gcode: job-breaks-off: "));
  CHECK(has(ran.out, "\n1 finding: "));
  CHECK(has(ran.err, kWrong));
  CHECK(get(run / "new.gcode") == "an older one\n");
  CHECK(has(get(run / "p.html"),
            "<strong>Do not print it.</strong> The rewritten job has 1 finding"));
  CHECK(has(get(run / "p.html"), "<th scope=\"row\">job-breaks-off</th>"));
  const Json found = Json::parse(get(run / "p.json"))["check"];
  REQUIRE(found["findings"].size() == 1);
  CHECK(found["findings"][0]["id"] == "job-breaks-off");
  CHECK(found["explain"].contains("job-breaks-off"));

  const Ran in_place = run(kRun + "job.gcode");
  CHECK(in_place.code == 1);
  CHECK(has(in_place.out, "job.gcode: job-breaks-off: "));
  CHECK(get(run / "job.gcode") == job);
  // Nothing reaches whoever reads the job.
  const Ran stream = run(kRun + "job.gcode -o -");
  CHECK(stream.code == 1);
  CHECK(stream.out.empty());
  CHECK(has(stream.err, kWrong));
  const Ran report = run(kRun + "job.gcode --json -");
  CHECK(report.code == 1);
  CHECK(Json::parse(report.out)["check"]["findings"].size() == 1);
  CHECK(run("forewarm rewrite -q --rules $CONFIG/demo.toml job.gcode --json - -o /dev/null")
            .out.find("\"check\"") == std::string::npos);
}

TEST_CASE("rewrite --check --dry-run checks what it would write, and writes nothing") {
  const Bench run;
  for (const bool whole : {true, false}) {
    CAPTURE(whole);
    put(run / "job.gcode", job_of(whole));
    const Ran ran = run(kRun + "--dry-run job.gcode");
    CHECK(ran.code == (whole ? 0 : 1));
    CHECK(has(ran.out, whole ? "no findings: " : "1 finding: "));
    CHECK(get(run / "job.gcode") == job_of(whole));
  }
}

TEST_CASE("rewrite --check leaves the job as it is where it cannot say what it found") {
  const Bench run;
  put(run / "job.gcode", job_of(true));
  for (const char* nowhere : {" >/dev/full", " >&-"}) {
    CAPTURE(nowhere);
    const Ran ran = run(kRun + "job.gcode" + nowhere);
    CHECK(ran.code == 4);
    CHECK(has(ran.err, "forewarm: error: standard output: cannot write: "));
    CHECK(get(run / "job.gcode") == job_of(true));
  }
}

TEST_CASE("rewrite --check of a job that stays as it is") {
  const Bench run;
  const std::string job = get(FOREWARM_FIXTURES "/single_tool.gcode");
  put(run / "job.gcode", job);
  const Ran in_place = run(kRun + "job.gcode");
  CHECK(in_place.code == 0);
  CHECK(has(in_place.out, "no findings: "));
  CHECK(get(run / "job.gcode") == job);
  CHECK(run(kRun + "job.gcode -o new.gcode").code == 0);
  CHECK(get(run / "new.gcode") == job);
}

TEST_CASE("rewrite --check does not go with --diff") {
  const Bench run;
  put(run / "job.gcode", job_of(true));
  const Ran ran = run(kRun + "--diff job.gcode");
  CHECK(ran.code == 2);
  CHECK(ran.err ==
        "forewarm: error: --diff writes no job: it does not go with --check\n  hint: --dry-run "
        "--check checks the rewrite and writes nothing either\n");
}

TEST_CASE("a page says that no check ran, and a hook's what it found") {
  const Bench run;
  put(run / "job.gcode", job_of(true));
  REQUIRE(run("forewarm forecast -q --rules $CONFIG/demo.toml job.gcode --html p.html").code == 0);
  CHECK(has(get(run / "p.html"), "The check did not run. forewarm rewrite --check"));
  CHECK(has(get(run / "p.html"), std::string("forewarm ") + FOREWARM_VERSION));
  REQUIRE(run("forewarm rewrite -q --hook --rules $CONFIG/demo.toml job.gcode").code == 0);
  CHECK(has(get(run / "job.gcode.html"), "nothing is wrong with it. No findings: "));
}
