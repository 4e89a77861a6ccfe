// Spools as a user meets them: the load sheet, the warnings of what writes a job, and what the
// exit code does not say.
#include <nlohmann/json.hpp>
#include <string>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kRules = kTwoToolheads + R"([[filament]]
tool = 0
name = "granite"
[[filament]]
tool = 1
name = "signal red"
)";

// T0 needs 2 mm and then 300 mm; T1 needs 2 mm.
const std::string kJob =
    "M83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 X20 E2 F1200\nT1\nM109 T1 S210\n"
    "G1 X10 E1\nG4 S400\nG1 X30 E1\nT0\nM109 T0 S200\nG1 X10 E100\nG1 X200 E200\n";

const std::string kShort = "--rules two.toml --set filament.T0.spool_g=0.5 ";
const std::string kWarning = ": the spool of T0 (granite) runs out after 0:0";  // and some minutes
const std::string kWhere =
    "layer 1, line 15, after the change to T0 in line 12; it needs 0.901 g, and 0.475 g of 0.500 g "
    "can be used";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
}

bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

std::size_t lines(const std::string& text) {
  return std::size_t(std::count(text.begin(), text.end(), '\n'));
}

}  // namespace

TEST_CASE("spools: the sheet takes the place of the forecast's text") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm forecast -q --sheet " + kShort + "job.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(has(ran.out, "toolhead"));
  CHECK(has(ran.out, "runs out in layer 1, line 15, after the change to T0 in line 12"));
  CHECK(has(ran.out, "cedar: T1 (signal red) is in it from start to end."));
  CHECK_FALSE(has(ran.out, "lookahead"));
  const Ran json = run("forewarm forecast -q --sheet --json - " + kShort + "job.gcode");
  const auto load = nlohmann::json::parse(json.out)["load"];
  CHECK(load[0]["enough"] == false);
  CHECK(load[0]["runs_out_line"] == 15);
  CHECK(load[1]["enough"].is_null());
}

TEST_CASE("spools: rewrite warns, once for each spool, and writes the job all the same") {
  Bench run;
  furnish(run);
  const Ran both =
      run("forewarm rewrite -q " + kShort + "--set filament.T1.spool_g=0 --dry-run job.gcode");
  CHECK(both.code == 0);
  CHECK(lines(both.err) == 2);
  const Ran ran = run("forewarm rewrite -q " + kShort + "-o out.gcode job.gcode");
  CHECK(ran.code == 0);
  CHECK(lines(ran.err) == 1);
  CHECK(has(ran.err, "forewarm: warning: job.gcode" + kWarning));
  CHECK(has(ran.err, kWhere));
  CHECK(get(run / "out.gcode").starts_with(";forewarm 1 "));
  // What is written, and how it is read again, does not hang on spools.
  const Ran plain = run("forewarm rewrite -q --rules two.toml -o plain.gcode job.gcode");
  CHECK(plain.err.empty());
  const auto body = [&](const std::string& name) {
    const std::string text = get(run / name);
    return text.substr(text.find('\n'));
  };
  CHECK(body("plain.gcode") == body("out.gcode"));
  const Ran enough =
      run("forewarm rewrite -q --rules two.toml --set filament.T0.spool_g=5 "
          "--dry-run job.gcode");
  CHECK(enough.err.empty());
}

TEST_CASE("spools: a hook says it in its one line") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm rewrite --hook " + kShort + "job.gcode");
  CHECK(ran.code == 0);
  CHECK(lines(ran.err) == 1);
  CHECK(has(ran.err, "; checked: no findings; warning"));
  CHECK(has(ran.err, kWhere + "; report: "));
  CHECK(has(get(run / "job.gcode.html"), "Load sheet"));
}

TEST_CASE("spools: a batch warns for each job") {
  Bench run;
  furnish(run);
  put(run / "other.gcode", kJob);
  const Ran ran = run("forewarm batch -q " + kShort + "-o out job.gcode other.gcode");
  CHECK(ran.code == 0);
  CHECK(lines(ran.err) == 2);
  CHECK(has(ran.err, "warning: job.gcode" + kWarning));
  CHECK(has(ran.err, "warning: other.gcode" + kWarning));
}

TEST_CASE("spools: with filaments moved, lines are those of the job") {
  Bench run;
  furnish(run);
  const std::string less = "--rules two.toml --set filament.T1.spool_g=0.003 --map 0=1,1=0 ";
  const Ran ran = run("forewarm forecast -q --json - " + less + "job.gcode");
  const auto load = nlohmann::json::parse(ran.out)["load"];
  CHECK(load[0]["filament"] == "signal red");
  CHECK(load[0]["runs_out_line"] == 9);
  CHECK(load[1]["enough"].is_null());
  const Ran rewrite = run("forewarm rewrite -q " + less + "--dry-run job.gcode");
  CHECK(has(rewrite.err, "the spool of T0 (signal red) runs out"));
  CHECK(has(rewrite.err, "line 9, after the change to T0 in line 7;"));
}
