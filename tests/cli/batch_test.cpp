#include <nlohmann/json.hpp>
#include <regex>
#include <sstream>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string kHeater =
    "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n";
const std::string kRules =
    "version = 1\n"
    "[[toolhead]]\nname = \"ash\"\ntools = [0]\n" +
    kHeater + "[[toolhead]]\nname = \"birch\"\ntools = [1, 2]\n" + kHeater;

// `seconds` between the changes, so that jobs differ.
std::string job(int seconds) {
  std::string text = "M83\nM104 T1 S205\nT0\nM109 S210\nG1 X10 E1 F1200\n";
  for (int i = 0; i < 3; ++i) {
    text +=
        "T1\nM109 S205\nG1 X20 E1\nG4 S" + std::to_string(seconds) + "\nT0\nM109 S210\nG1 X10 E1\n";
  }
  return text;
}

std::string name_of_job(int i) { return "jobs/" + std::to_string(100 + i) + ".gcode"; }

void furnish(const Bench& run, int jobs) {
  put(run / "rules.toml", kRules);
  std::filesystem::create_directory(run / "jobs");
  for (int i = 0; i < jobs; ++i) put(run / name_of_job(i), job(60 + 40 * i));
}

const std::string kScripts = FOREWARM_SOURCE_DIR "/scripts";
const std::string kBatch = "forewarm batch -q --rules rules.toml -o out ";

// Names and bytes of all that lies in a folder, hidden files too.
std::string contents(const std::string& folder) {
  std::vector<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    names.push_back(entry.path().filename().string());
  }
  std::sort(names.begin(), names.end());
  std::string out;
  for (const std::string& name : names) out += "== " + name + '\n' + get(folder + '/' + name);
  return out;
}

// Which outputs were written anew between two looks: an output is always a new file.
std::string written_anew(const Ran& before, const Ran& after) {
  std::string out;
  std::istringstream one(before.out), two(after.out);
  for (std::string a, b; std::getline(one, a) && std::getline(two, b);) {
    if (a != b) out += b.substr(0, b.find(' ')) + '\n';
  }
  return out;
}
Ran look(const Bench& run) { return run("cd out && stat -c '%n %i %z' *.gcode"); }

std::size_t times(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

// What the planner makes of a job is its own tests' business.
std::string without_figures(std::string text) {
  text =
      std::regex_replace(text, std::regex(R"((\d+ h )?(\d+ min )?\d+(\.\d)? (s|min)\b)"), "TIME");
  text =
      std::regex_replace(text, std::regex(R"(\d+(\.\d+)? (Wh|changes|commands|removed))"), "# $2");
  return std::regex_replace(text, std::regex(" +"), " ");
}

}  // namespace

TEST_CASE("batch: what it says and leaves") {
  Bench run;
  furnish(run, 2);
  put(run / "jobs/plain.gcode", "M83\nT0\nM109 S210\nG1 X10 E1 F1200\n");
  put(run / "jobs/bad.gcode", "M83\nT0\nT9\n");
  const Ran ran = run(kBatch +
                      "jobs/100.gcode jobs/bad.gcode jobs/missing.gcode jobs/plain.gcode "
                      "jobs/101.gcode");
  CHECK(ran.code == 4);
  CHECK(without_figures(ran.out) ==
        "jobs/100.gcode: done: # changes, # commands inserted, # removed; TIME, of it TIME "
        "waiting; TIME hot idle\n"
        "jobs/bad.gcode: refused: line 3: no toolhead serves T9\n"
        "jobs/missing.gcode: failed: cannot open: No such file or directory\n"
        "jobs/plain.gcode: unchanged: # changes, # commands inserted, # removed; TIME, of it TIME "
        "waiting; TIME hot idle\n"
        "jobs/101.gcode: done: # changes, # commands inserted, # removed; TIME, of it TIME "
        "waiting; TIME hot idle\n"
        "\n"
        " hot-end\n"
        " jobs bytes time waiting hot idle energy\n"
        "done 2 413 bytes TIME TIME TIME # Wh\n"
        "unchanged 1 33 bytes TIME TIME TIME # Wh\n"
        "refused 1 10 bytes\n"
        "failed 1 0 bytes\n"
        "all 5 456 bytes TIME TIME TIME # Wh\n");
  CHECK(
      ran.err ==
      "forewarm: error: jobs/bad.gcode:3:1: no toolhead serves T9\n  T9\n  ^\n"
      "  hint: add 9 to the `tools` of a [[toolhead]] in the rule file, or add a [[toolhead]] for "
      "it\n"
      "forewarm: error: jobs/missing.gcode: cannot open: No such file or directory\n");
  // Each output is what the single command makes of the job.
  for (const char* name : {"100", "101", "plain"}) {
    const std::string file = std::string(name) + ".gcode";
    REQUIRE(run("forewarm rewrite -q --rules rules.toml -o one.gcode jobs/" + file).code == 0);
    CHECK(get(run / "out/" + file) == get(run / "one.gcode"));
  }
  CHECK(run("ls -A out").out == "100.gcode\n101.gcode\nmanifest.jsonl\nplain.gcode\n");
  CHECK(get(run / "jobs/100.gcode") == job(60));

  std::istringstream lines(get(run / "out/manifest.jsonl"));
  std::string outcomes;
  for (std::string line; std::getline(lines, line);) {
    const auto json = nlohmann::json::parse(line);
    outcomes += json["path"].get<std::string>() + ' ' + json["outcome"].get<std::string>() + '\n';
    if (!json.contains("output_bytes")) continue;
    const std::string output = get(run / "out/" + json["path"].get<std::string>().substr(5));
    CHECK(json["output_bytes"] == output.size());
    // The figures are those of the forecast.
    const Ran forecast =
        run("forewarm forecast -q --rules rules.toml --json - " + json["path"].get<std::string>());
    const auto figures = nlohmann::json::parse(forecast.out)["policies"]["lookahead"];
    for (const char* key : {"duration_s", "wait_s", "hot_idle_s", "energy_wh", "cold_starts"}) {
      CHECK(json[key] == figures[key]);
    }
    CHECK(json["put_in"] == times(output, " ;fw+ "));
    CHECK(json["taken_out"] == times(output, ";fw- "));
    CHECK(json["bytes"] == get(run / json["path"].get<std::string>()).size());
    // The header of a rewritten job has the hash of its original, and of the rules.
    if (json["outcome"] == "unchanged") {
      CHECK(json["output"] == json["input"]);
    } else {
      CHECK(output.substr(0, output.find('\n')) ==
            ";forewarm 1 rules=" + json["rules"].get<std::string>() +
                " original=" + json["bytes"].dump() + ":" + json["input"].get<std::string>());
    }
  }
  CHECK(outcomes ==
        "jobs/100.gcode done\njobs/101.gcode done\njobs/bad.gcode refused\n"
        "jobs/missing.gcode failed\njobs/plain.gcode unchanged\n");
}

TEST_CASE("batch: the same bytes by any number of threads") {
  Bench run;
  furnish(run, 12);
  put(run / "jobs/bad.gcode", "T9\n");
  const Ran one = run(kBatch + "--jobs 1 jobs/*");
  CHECK(one.code == 3);
  const std::string first = contents(run / "out");
  for (const char* jobs : {"--jobs 4", "--jobs 64", ""}) {
    REQUIRE(run("rm -r out").code == 0);
    const Ran ran = run(kBatch + jobs + " jobs/*");
    CHECK(ran.code == 3);
    CHECK(ran.out == one.out);
    CHECK(ran.err == one.err);
    CHECK(contents(run / "out") == first);
  }
}

TEST_CASE("batch: a second run does nothing, a change is seen") {
  Bench run;
  furnish(run, 3);
  put(run / "jobs/bad.gcode", "T0\nT9\n");
  const std::string batch = kBatch + "jobs/*";
  REQUIRE(run(batch).code == 3);
  const std::string fresh = contents(run / "out");
  const auto anew = [&](const std::string& change) {
    const Ran before = look(run);
    REQUIRE(run(change).code == 0);
    const Ran ran = run(batch);
    CHECK(ran.code == 3);
    CHECK(times(ran.out, "\njobs/bad.gcode: refused: line 2: ") + times(ran.out, "bad.gcode") == 2);
    return written_anew(before, look(run)) + std::to_string(times(ran.out, ": kept: ")) + " kept";
  };
  CHECK(anew("true") == "3 kept");
  CHECK(contents(run / "out") == fresh);
  CHECK(anew("touch jobs/*") == "3 kept");
  CHECK(anew("echo >>out/101.gcode") == "101.gcode\n2 kept");
  CHECK(anew("sed -i s/210/211/ out/102.gcode") == "102.gcode\n2 kept");  // the same length
  CHECK(contents(run / "out") == fresh);
  CHECK(anew("rm out/100.gcode && cp jobs/100.gcode out/") == "100.gcode\n2 kept");
  CHECK(contents(run / "out") == fresh);
  CHECK(anew("sed -i s/210/212/ jobs/101.gcode") == "101.gcode\n2 kept");
  CHECK(anew("echo '# a remark' >>rules.toml") == "100.gcode\n101.gcode\n102.gcode\n0 kept");
  CHECK(anew("rm out/manifest.jsonl") == "100.gcode\n101.gcode\n102.gcode\n0 kept");
  // Of a job that is good by now nothing bad is remembered.
  put(run / "jobs/bad.gcode", job(5));
  CHECK(run(batch).code == 0);
  CHECK(get(run / "out/manifest.jsonl").find("refused") == std::string::npos);
  // A job that went bad: the older output stays, and is said to be older.
  put(run / "jobs/bad.gcode", "T0\nT9\n");
  const Ran worse = run(batch);
  CHECK(worse.code == 3);
  CHECK(worse.err.find("the file of that name in the folder of outputs is an older one") !=
        std::string::npos);
}

TEST_CASE("batch: killed, it goes on where it was") {
  constexpr int kJobs = 60;
  for (const std::string signal : {"KILL", "TERM"}) {
    Bench run;
    furnish(run, kJobs);
    REQUIRE(run(kBatch + "jobs/* && mv out whole").code == 0);
    const Ran killed = run(kBatch +
                           "--jobs 2 jobs/* >/dev/null &\n"
                           "p=$!\n"
                           "until [ -s out/manifest.jsonl ]; do :; done\n"
                           "kill -" +
                           signal +
                           " $p; wait $p; echo $?\n"
                           "rm -f out/.*.fw-tmp-*; wc -l <out/manifest.jsonl");
    std::istringstream numbers(killed.out);
    std::size_t code = 0, lines = 0;
    numbers >> code >> lines;
    CAPTURE(signal, killed.out);
    CHECK((code == 0 || code == (signal == "KILL" ? 137U : 143U)));
    CHECK(lines >= 1);
    // As if the kill had come within a line.
    put(run / "out/manifest.jsonl", get(run / "out/manifest.jsonl") + R"({"path":"jobs/1)");
    const Ran again = run(kBatch + "jobs/*");
    CHECK(again.code == 0);
    CHECK(times(again.out, ": kept: ") == lines);
    CHECK(times(again.out, ": done: ") == kJobs - lines);
    CHECK(contents(run / "out") == contents(run / "whole"));
  }
}

TEST_CASE("batch: rewritten jobs are restored first") {
  Bench run;
  furnish(run, 1);
  REQUIRE(run(kBatch + "jobs/100.gcode").code == 0);
  const std::string first = get(run / "out/100.gcode");
  REQUIRE(run("mv out/100.gcode jobs/ && " + kBatch + "jobs/100.gcode").code == 0);
  CHECK(get(run / "out/100.gcode") == first);
  REQUIRE(run("sed -i 's/^G4 S60/G4 S61/' jobs/100.gcode").code == 0);
  CHECK(run(kBatch + "jobs/100.gcode").code == 3);
}

TEST_CASE("batch: names from a list") {
  Bench run;
  furnish(run, 0);
  const std::string odd = "new\nline and \xff \"quoted\" .gcode";
  put(run / "jobs/" + odd, job(50));
  put(run / "jobs/-o", job(70));
  put(run / "jobs/plain.gcode", job(90));
  const Ran list =
      run("find jobs -type f -print0 | sort -z >list; " + kBatch + "--files0-from list");
  CHECK(list.code == 0);
  CHECK(times(list.out, "\n") == 3 + 5);  // a name does not break its line
  REQUIRE(run("forewarm rewrite -q --rules rules.toml -o one jobs/-o").code == 0);
  CHECK(get(run / "out/-o") == get(run / "one"));
  CHECK(std::filesystem::exists(run / "out/" + odd));
  const std::string first = contents(run / "out");
  const Ran piped = run(kBatch + "--files0-from - <list");
  CHECK(times(piped.out, ": kept: ") == 3);
  CHECK(run("cat list | " + kBatch + "--files0-from -").code == 0);
  CHECK(contents(run / "out") == first);
  // A list may be empty: there was nothing to find.
  const Ran none =
      run("mkdir none; : | forewarm batch -q --rules rules.toml -o none --files0-from -");
  CHECK(none.code == 0);
  CHECK(none.err.empty());
  CHECK(run("ls none; wc -c <none/manifest.jsonl").out == "manifest.jsonl\n0\n");
}

TEST_CASE("batch: shards share a folder") {
  Bench run;
  furnish(run, 12);
  REQUIRE(run(kBatch + "jobs/* && mv out whole").code == 0);
  std::size_t done = 0;
  for (const char* shard : {"1/3", "2/3", "3/3"}) {
    const Ran ran = run(kBatch + "--shard " + shard + " jobs/*");
    CHECK(ran.code == 0);
    CHECK(times(ran.out, ": kept: ") == 0);
    done += times(ran.out, ": done: ");
  }
  CHECK(done == 12);
  CHECK(run("cd out && cat manifest.*-of-3.jsonl | sort | cmp - ../whole/manifest.jsonl").code ==
        0);
  // All at once takes over what the shards did.
  CHECK(times(run(kBatch + "jobs/*").out, ": kept: ") == 12);
  CHECK(run("rm out/manifest.*-of-3.jsonl").code == 0);
  CHECK(contents(run / "out") == contents(run / "whole"));
}

TEST_CASE("batch: parts by GNU parallel") {
  if (std::system("command -v parallel >/dev/null") != 0) {
    WARN("skipped: GNU parallel is missing; scripts/setup --tests installs it");
    return;
  }
  Bench run;
  furnish(run, 9);
  put(run / "jobs/it's a \"job\" $HOME.gcode", job(45));
  put(run / "jobs/bad.gcode", "T0\nT9\n");
  REQUIRE(run(kBatch + "jobs/*; mv out whole").code == 0);
  const Ran ran = run(kScripts + "/batch_parallel 3 -j 2 -- --rules rules.toml -o out jobs/*");
  CAPTURE(ran.err);
  CHECK(ran.code == 3);
  CHECK(times(ran.out, ": kept: ") == 10);  // the parts have done all
  CHECK(times(ran.out, ": refused: ") == 1);
  CHECK(run("ls out | grep -c '^manifest.[1-3]-of-3.jsonl$'; rm out/manifest.*-of-*").out == "3\n");
  CHECK(contents(run / "out") == contents(run / "whole"));
  // Where no part gets anywhere, the last look does it all.
  const Ran alone = run("rm -r out; " + kScripts +
                        "/batch_parallel 2 --workdir /no/such/folder -- --rules rules.toml -o out "
                        "jobs/100.gcode 2>/dev/null");
  CHECK(alone.code == 0);
  CHECK(get(run / "out/100.gcode") == get(run / "whole/100.gcode"));
  for (const char* line : {"", "x -- -o out jobs/100.gcode", "0 -- -o out jobs/100.gcode", "2",
                           "2 --", "2 -- -o new --files0-from -", "2 -- -o new --files0-from=-"}) {
    CHECK(run(kScripts + "/batch_parallel " + line).code == 2);
  }
  CHECK_FALSE(std::filesystem::exists(run / "new"));
}

// The scheduler itself is not asked: only what it tells a task is.
TEST_CASE("batch: parts by a job array") {
  Bench run;
  furnish(run, 9);
  REQUIRE(run(kBatch + "jobs/* && mv out whole").code == 0);
  const auto task = [&](int id, int first, int last, int count) {
    return run("export SLURM_ARRAY_TASK_ID=" + std::to_string(id) + " SLURM_ARRAY_TASK_MIN=" +
               std::to_string(first) + " SLURM_ARRAY_TASK_MAX=" + std::to_string(last) +
               " SLURM_ARRAY_TASK_COUNT=" + std::to_string(count) + " SLURM_CPUS_PER_TASK=2\n" +
               kScripts + "/batch_slurm --rules rules.toml -o out jobs/*");
  };
  std::size_t done = 0;
  for (int id = 1; id <= 3; ++id) {
    const Ran ran = task(id, 1, 3, 3);
    CHECK(ran.code == 0);
    done += times(ran.out, ": done: ");
  }
  CHECK(done == 9);
  CHECK(times(run(kBatch + "jobs/*").out, ": kept: ") == 9);
  CHECK(run("rm out/manifest.*-of-*").code == 0);
  CHECK(contents(run / "out") == contents(run / "whole"));
  CHECK(task(0, 0, 2, 3).code == 2);
  CHECK(task(1, 1, 5, 3).code == 2);
  CHECK(run(kScripts + "/batch_slurm --rules rules.toml -o out jobs/*").code == 2);
}

TEST_CASE("batch: what is not begun") {
  Bench run;
  furnish(run, 2);
  std::filesystem::create_directories(run / "other");
  std::filesystem::create_directories(run / "done");
  put(run / "other/100.gcode", job(50));
  put(run / "done/own.gcode", job(50));
  put(run / "done/second.gcode", job(51));
  std::filesystem::create_symlink("../done/second.gcode", run / "other/second.gcode");
  put(run / "file", "");
  put(run / "foreign/manifest.jsonl", "");
  std::filesystem::create_directories(run / "foreign");
  put(run / "foreign/manifest.jsonl", "{\"shopping\": \"bread\"}\n");
  put(run / "wrong.toml", "version = 2\n");
  const std::string before = contents(run / "done");
  struct Case {
    std::string line, says;
    int code;
  };
  for (const Case& c : {
           Case{"batch", "--output is required", 2},
           Case{"batch jobs/100.gcode", "--output is required", 2},
           Case{"batch -o new", "no jobs", 2},
           Case{"batch -o new --jobs 0 jobs/100.gcode", "--jobs", 2},
           Case{"batch -o new --jobs 65 jobs/100.gcode", "--jobs", 2},
           Case{"batch -o new --shard 3/2 jobs/100.gcode", "--shard: \"3/2\" is not K/N", 2},
           Case{"batch -o new --files0-from file jobs/100.gcode", "does not go with jobs", 2},
           Case{"batch -o new --files0-from missing", "missing: cannot open", 4},
           Case{"batch -o new -", "standard input", 2},
           Case{"batch -o - jobs/100.gcode", "into a folder, not to standard output", 2},
           Case{"batch -o new jobs/100.gcode other/100.gcode",
                "the outputs of \"jobs/100.gcode\" and \"other/100.gcode\" would be one file", 2},
           Case{"batch -o new jobs/..", "\"jobs/..\" is not the name of a file", 2},
           Case{"batch --rules rules.toml -o done jobs/100.gcode done/own.gcode",
                "done/own.gcode: this job lies", 2},
           Case{"batch --rules rules.toml -o done other/second.gcode",
                "other/second.gcode: this job lies", 2},
           Case{"batch -o new --rules wrong.toml jobs/100.gcode", "wrong.toml:1:11", 2},
           Case{"batch -o new --rules missing.toml jobs/100.gcode", "missing.toml: cannot open", 2},
           Case{"batch --rules rules.toml -o file jobs/100.gcode", "file: is not a folder", 4},
           Case{"batch --rules rules.toml -o no/where jobs/100.gcode",
                "no/where: cannot make or open", 4},
           Case{"batch --rules rules.toml -o foreign jobs/100.gcode",
                "foreign/manifest.jsonl:1: this is no line of a manifest", 2},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("forewarm " + c.line);
    CAPTURE(ran.err);
    CHECK(ran.code == c.code);
    CHECK(ran.out.empty());
    CHECK(ran.err.find(c.says) != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(run / "new"));
  }
  CHECK(contents(run / "done") == before);
  CHECK(get(run / "foreign/manifest.jsonl") == "{\"shopping\": \"bread\"}\n");
}

TEST_CASE("batch: an output never leaves its folder") {
  Bench run;
  furnish(run, 4);
  put(run / "kept.gcode", "mine\n");
  REQUIRE(run("mkdir out out/102.gcode && ln -s ../kept.gcode out/100.gcode && "
              "ln -s ../new.gcode out/101.gcode && mkfifo out/103.gcode")
              .code == 0);
  const Ran ran = run(kBatch + "jobs/*");
  CHECK(ran.code == 4);
  CHECK(times(ran.err, "is a symbolic link: an output is not written through one") == 2);
  CHECK(times(ran.err, "is not a regular file") == 2);
  CHECK(get(run / "kept.gcode") == "mine\n");
  CHECK_FALSE(std::filesystem::exists(run / "new.gcode"));
}

TEST_CASE("batch: a folder that cannot be written to") {
  if (::geteuid() == 0) {
    // Root may write anywhere but where nobody can.
    Bench run;
    furnish(run, 1);
    const Ran ran = run("forewarm batch -q --rules rules.toml -o /proc jobs/100.gcode");
    CHECK(ran.code == 4);
    CHECK(ran.err.find("/proc/manifest.jsonl: cannot open") != std::string::npos);
    return;
  }
  Bench run;
  furnish(run, 1);
  const Ran ran = run("mkdir -m 555 out && " + kBatch + "jobs/100.gcode");
  CHECK(ran.code == 4);
  CHECK(ran.err.find("out/manifest.jsonl: cannot open") != std::string::npos);
}

TEST_CASE("batch: one at a time in one folder") {
  Bench run;
  furnish(run, 1);
  REQUIRE(run(kBatch + "jobs/*").code == 0);
  const Ran ran = run("flock out/manifest.jsonl " + kBatch + "jobs/*");
  CHECK(ran.code == 4);
  CHECK(ran.err.find("is being written by another run") != std::string::npos);
}

TEST_CASE("batch: nobody listens") {
  Bench run;
  furnish(run, 2);
  CHECK(run(kBatch + "jobs/* >/dev/full").code == 4);
  // The work was done nevertheless.
  const Ran again = run(kBatch + "jobs/*");
  CHECK(again.code == 0);
  CHECK(times(again.out, ": kept: ") == 2);
}

TEST_CASE("batch: help") {
  Bench run;
  CHECK(run("forewarm --help").out.find("\n  batch ") != std::string::npos);
  const Ran ran = run("forewarm batch --help");
  CHECK(ran.code == 0);
  for (const char* option : {"--output", "--files0-from", "--jobs", "--shard", "--rules"}) {
    CHECK(ran.out.find(option) != std::string::npos);
  }
}
