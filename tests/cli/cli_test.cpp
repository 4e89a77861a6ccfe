#include <sys/stat.h>

#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

// Two toolheads with a tool each.
const std::string kRules = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
[[toolhead]]
name = "cedar"
tools = [1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, max_c = 290 }
)";

const std::string kJob =
    "G21\nG90\nM83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 X10 Y10 F6000\n"
    "G1 X20 Y10 E1 F1200\nM104 T0 S150\nT1\nM109 T1 S210\nG1 X10 Y20 E1\nG4 S400\nG4 S400\n"
    "G1 X10 Y30 E1\nT0\nM109 T0 S200\nG1 X10 Y30 E1\n";

const std::string kSummary =
    "forewarm: info: 2 changes, 6 commands inserted, 1 removed; 1 min 29 s of waiting and 7 min "
    "13 s of hot idle in 15 min 26 s\n";
const std::string kRulesNote = "forewarm: info: rules: two.toml\n";
const std::string kHint = "  hint: forewarm --help, or --help after a command\n";

const std::vector<std::string> kFixtures = {
    "single_tool.gcode",     "trail_map.gcode",          "trail_map_absolute.gcode",
    "trail_map_arcs.gcode",  "trail_map_crlf.gcode",     "trail_map_inches.gcode",
    "trail_map_lower.gcode", "trail_map_numbered.gcode",
};

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
}

// The job as forewarm rewrites it.
std::string rewritten(const Bench& run) {
  return run("forewarm rewrite -q --rules two.toml job.gcode -o -").out;
}

// The hash of the rules in the first line of a rewritten job.
std::string hash_in(const std::string& rewritten) {
  const std::string before = ";forewarm 1 rules=";
  REQUIRE(rewritten.starts_with(before));
  return rewritten.substr(before.size(), 16);
}

std::string crlf(const std::string& text) {
  std::string out;
  for (const char c : text) out += c == '\n' ? "\r\n" : std::string(1, c);
  return out;
}

unsigned mode_of(const std::string& path) {
  struct stat st {};
  REQUIRE(::lstat(path.c_str(), &st) == 0);
  return st.st_mode;
}

}  // namespace

TEST_CASE("command lines that are refused") {
  Bench run;
  furnish(run);
  struct Case {
    std::string line, says;
  };
  for (const Case& c : {
           Case{"rewrite", "JOB is required"},
           Case{"restore", "REWRITTEN is required"},
           Case{"diff job.gcode", "REWRITTEN is required"},
           Case{"rewrite ''", "JOB: an empty name is no file"},
           Case{"rewrite job.gcode -o ''", "--output: an empty name is no file"},
           Case{"forecast job.gcode --rules ''", "--rules: an empty name is no file"},
           Case{"forecast job.gcode --start ''", "--start: an empty text is no time"},
           Case{"forecast job.gcode --start 2027-03-05T18:00 --done-by ''",
                "--done-by: an empty text is no time"},
           Case{"diff job.gcode ''", "REWRITTEN: an empty name is no file"},
           Case{"batch -o '' job.gcode", "--output: an empty name is no file"},
           Case{"batch -o out job.gcode ''", "JOB: an empty name is no file"},
           Case{"rewrite job.gcode --color pink", "--color: pink not in {auto,always,never}"},
           Case{"rewrite job.gcode --rules", "--rules: 1 required FILE missing"},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("forewarm " + c.line);
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == "forewarm: error: " + c.says + "\n" + kHint);
  }
  for (const char* line : {"rewrite job.gcode two", "rules check a b", "diff a b c"}) {
    CAPTURE(line);
    const Ran ran = run(std::string("forewarm ") + line);
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err.starts_with("forewarm: error: "));
    CHECK(ran.err.ends_with(kHint));
  }
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("two results cannot both go to standard output") {
  Bench run;
  furnish(run);
  for (const char* line :
       {"rewrite --diff --json - job.gcode", "rewrite --html - --json - job.gcode",
        "rewrite -o - --json - job.gcode", "rewrite - --json - <job.gcode",
        "rewrite --diff --html - job.gcode", "forecast --html - --json - job.gcode"}) {
    CAPTURE(line);
    const Ran ran = run(std::string("forewarm ") + line);
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err.starts_with("forewarm: error: only one result can go to standard output\n"));
  }
  CHECK(run("forewarm rewrite --diff -o x job.gcode").err ==
        "forewarm: error: --diff writes no job: it does not go with -o\n");
  CHECK(run("forewarm diff - - <job.gcode").err ==
        "forewarm: error: only one of the two can be standard input\n");
  CHECK(run.names() == std::vector<std::string>{"job.gcode", "two.toml"});
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("jobs that cannot be read or replaced") {
  Bench run;
  furnish(run);
  std::filesystem::create_directory(run / "folder");
  struct Case {
    std::string line, says;
  };
  const std::string at = run / "";
  for (const Case& c : {
           Case{"rewrite --rules two.toml no.gcode",
                "no.gcode: cannot open: No such file or directory"},
           Case{"rewrite --rules two.toml no.gcode -o x",
                "no.gcode: cannot open: No such file or directory"},
           Case{"forecast -q no.gcode", "no.gcode: cannot open: No such file or directory"},
           Case{"restore no.gcode", "no.gcode: cannot open: No such file or directory"},
           Case{"diff job.gcode no.gcode", "no.gcode: cannot open: No such file or directory"},
           Case{"rules new --from no.gcode", "no.gcode: cannot open: No such file or directory"},
           Case{"rewrite --rules two.toml folder", at + "folder: is a folder, not a file"},
           Case{"forecast -q folder", "folder: is a folder, not a file"},
           Case{"rewrite --rules two.toml job.gcode -o no/x",
                "no: cannot open this folder: No such file or "
                "directory"},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("forewarm " + c.line);
    CHECK(ran.code == 4);
    CHECK(ran.out.empty());
    const bool by_rules = c.line.starts_with("rewrite");
    CHECK(ran.err == (by_rules ? kRulesNote : "") + "forewarm: error: " + c.says + "\n");
  }
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run.names() == std::vector<std::string>{"folder", "job.gcode", "two.toml"});
}

TEST_CASE("a read-only job is left alone") {
  Bench run;
  furnish(run);
  const Ran ran = run("chmod 444 job.gcode; forewarm rewrite -q --rules two.toml job.gcode");
  CHECK(ran.code == 4);
  CHECK(ran.err == "forewarm: error: " + (run / "job.gcode") +
                       ": is read-only: its mode lets nobody write to it\n"
                       "  hint: chmod u+w it, or write elsewhere with -o\n");
  CHECK(get(run / "job.gcode") == kJob);
  CHECK((mode_of(run / "job.gcode") & 07777U) == 0444U);
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode -o out.gcode").code == 0);
  // A hook has no -o.
  const Ran hook = run("forewarm rewrite --hook --rules two.toml job.gcode");
  CHECK(hook.code == 4);
  CHECK(hook.err == "forewarm: error: " + (run / "job.gcode") +
                        ": is read-only: its mode lets nobody write to it\n"
                        "  hint: chmod u+w it\n");
}

TEST_CASE("an unreadable job is an error") {
  if (::geteuid() == 0) {
    WARN("run as root, which reads everything");
    return;
  }
  Bench run;
  furnish(run);
  const Ran ran = run("chmod 200 job.gcode; forewarm forecast -q --rules two.toml job.gcode");
  CHECK(ran.code == 4);
  CHECK(ran.err == "forewarm: error: job.gcode: cannot open: Permission denied\n");
}

TEST_CASE("jobs that are refused, with the place and what to do") {
  struct Case {
    std::string what, job, says;
  };
  const std::string marks =
      "bad.gcode: the job holds forewarm's marks but no valid header\n"
      "  hint: restore it from a copy, or from the file that forewarm made\n";
  for (const Case& c : {
           Case{"empty", "", "bad.gcode: the job is empty\n"},
           Case{"a NUL byte", std::string("G1 X1\nG1 ") + '\0' + " X2\n",
                "bad.gcode:2:4: the job is not text: it has a NUL byte\n"
                "  hint: compressed or packed G-code has to be unpacked first\n"},
           Case{"no toolhead", "G21\nT7\n",
                "bad.gcode:2:1: no toolhead serves T7\n  T7\n  ^\n"
                "  hint: add 7 to the `tools` of a [[toolhead]] in the rule file, or add a "
                "[[toolhead]] for it\n"},
           Case{"checksum", "N1 G21*17\n",
                "bad.gcode:1:7: the checksum is wrong\n  N1 G21*17\n        ^\n"
                "  hint: the file is damaged; the machine would stop here\n"},
           Case{"an inserted line", "G21 ;fw+ x\n", marks},
           Case{"a disabled line", "G21\n;fw- G21", marks},
           Case{"a damaged header", ";forewarm 1 rules=00 original=1:00\nG21\nG90 ;fw+ x\n", marks},
       }) {
    CAPTURE(c.what);
    Bench run;
    furnish(run);
    put(run / "bad.gcode", c.job);
    for (const char* line :
         {"rewrite", "forecast", "compare", "rewrite --diff", "rewrite -o out.gcode"}) {
      CAPTURE(line);
      const Ran ran = run(std::string("forewarm ") + line + " -q --rules two.toml bad.gcode");
      CHECK(ran.code == 3);
      CHECK(ran.out.empty());
      CHECK(ran.err == "forewarm: error: " + c.says);
    }
    CHECK(get(run / "bad.gcode") == c.job);
    CHECK(run.names() == std::vector<std::string>{"bad.gcode", "job.gcode", "two.toml"});
  }
}

TEST_CASE("a target above max_c is refused where it stands") {
  Bench run;
  furnish(run);
  put(run / "hot.gcode", "G21\nM104 T1 S291\n");
  const Ran ran = run("forewarm rewrite -q --rules two.toml hot.gcode");
  CHECK(ran.code == 3);
  CHECK(ran.err.starts_with("forewarm: error: hot.gcode:2:"));
  CHECK(ran.err.find("max_c") != std::string::npos);
  put(run / "warm.gcode", "G21\nM104 T1 S290\n");
  CHECK(run("forewarm rewrite --rules two.toml warm.gcode").code == 0);
}

TEST_CASE("damaged rewritten jobs are refused and left alone") {
  Bench run;
  furnish(run);
  const std::string good = rewritten(run);
  REQUIRE(good.starts_with(";forewarm 1 "));
  std::string bad = good;
  bad.replace(bad.find("X20"), 3, "X21");
  put(run / "bad.gcode", bad);
  for (const char* line : {"restore bad.gcode", "restore bad.gcode -o -", "restore - <bad.gcode",
                           "restore bad.gcode -o out.gcode", "rewrite --rules built-in bad.gcode",
                           "forecast bad.gcode"}) {
    CAPTURE(line);
    const Ran ran = run(std::string("forewarm ") + line);
    CHECK(ran.code == 3);
    CHECK(ran.out.empty());
    CHECK(ran.err.find("the restored job is not the original: the file was changed since\n") !=
          std::string::npos);
  }
  CHECK(get(run / "bad.gcode") == bad);
  CHECK(run.names() == std::vector<std::string>{"bad.gcode", "job.gcode", "two.toml"});
  const Ran ran = run("forewarm restore job.gcode");
  CHECK(ran.code == 3);
  CHECK(ran.err ==
        "forewarm: error: job.gcode:1: not a job that forewarm rewrote: its first line is no "
        "header\n  G21\n");
}

TEST_CASE("rule files that are refused") {
  Bench run;
  furnish(run);
  struct Case {
    std::string rules, says;
  };
  for (const Case& c : {
           Case{"version = 2\n", "bad.toml:1:"},
           Case{kRules + "max_temp = 5\n", "bad.toml:10:1: "},
           Case{kRules + "[gap]\noff_over = 1500\n", "bad.toml:11:1: "},
           Case{kRules + "[gap\n", "bad.toml:10:"},
           Case{"", "bad.toml"},
       }) {
    CAPTURE(c.rules);
    put(run / "bad.toml", c.rules);
    for (const char* line :
         {"rules check bad.toml", "rewrite --rules bad.toml job.gcode",
          "forecast --rules bad.toml job.gcode", "rules check --rules bad.toml"}) {
      CAPTURE(line);
      const Ran ran = run(std::string("forewarm ") + line);
      CHECK(ran.code == 2);
      CHECK(ran.out.empty());
      CHECK(ran.err.starts_with("forewarm: error: " + c.says));
    }
  }
  CHECK(run("forewarm rules check bad.toml").code == 2);
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("the rule file in force") {
  Bench run;
  furnish(run);
  const auto broken = [&](const std::string& path) { put(path, "broken"); };
  std::filesystem::create_directories(run.root() + "/home/.config/forewarm");
  std::filesystem::create_directories(run.root() + "/xdg/forewarm");
  const std::string home = run.root() + "/home/.config/forewarm/rules.toml";
  const std::string xdg = run.root() + "/xdg/forewarm/rules.toml";
  const std::string built_in =
      "good: one toolhead for each T number in a job\n  rules: built-in guesses, ";
  const std::string two = "good: 2 toolheads, 0 filaments\n";

  // Never the working folder.
  for (const char* name : {"rules.toml", "forewarm.toml", ".forewarm.toml"}) broken(run / name);
  CHECK(run("forewarm rules check").out.starts_with(built_in));
  // $HOME/.config stands for $XDG_CONFIG_HOME.
  put(home, kRules);
  CHECK(run("forewarm rules check").out.starts_with(two));
  broken(home);
  CHECK(run("forewarm rules check").err.starts_with("forewarm: error: " + home + ":1:"));
  // $XDG_CONFIG_HOME before it; a relative one counts for nothing.
  const std::string with_xdg = "XDG_CONFIG_HOME=" + run.root() + "/xdg ";
  CHECK(run(with_xdg + "forewarm rules check").out.starts_with(built_in));
  put(xdg, kRules);
  CHECK(run(with_xdg + "forewarm rules check").out.starts_with(two));
  CHECK(run("XDG_CONFIG_HOME=../xdg forewarm rules check").code == 2);
  // $FOREWARM_RULES before that; empty is as if it were not set.
  broken(xdg);
  CHECK(run(with_xdg + "FOREWARM_RULES=two.toml forewarm rules check").out.starts_with(two));
  CHECK(run(with_xdg + "FOREWARM_RULES= forewarm rules check").code == 2);
  const Ran none = run("FOREWARM_RULES=none.toml forewarm rules check");
  CHECK(none.code == 2);
  CHECK(none.err == "forewarm: error: none.toml: cannot open: No such file or directory\n");
  // --rules before all.
  CHECK(run("FOREWARM_RULES=none.toml forewarm rules check --rules two.toml").code == 0);
  CHECK(run("FOREWARM_RULES=none.toml forewarm rewrite -q --rules two.toml job.gcode").code == 0);
}

TEST_CASE("rewrite in place") {
  Bench run;
  furnish(run);
  const std::string wanted = rewritten(run);
  const Ran ran = run("forewarm rewrite --rules two.toml job.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.out.empty());
  CHECK(ran.err == kRulesNote + kSummary);
  CHECK(get(run / "job.gcode") == wanted);
  CHECK(wanted.find("\nM104 T1 S210 ;fw+ preheat: 14.0 s ahead, from 200 C to 210 C in 7.5 s\n") !=
        std::string::npos);
  CHECK(wanted.find("\n;fw- M104 T0 S150\n") != std::string::npos);

  SECTION("twice is once") {
    CHECK(run("forewarm rewrite -q --rules two.toml job.gcode").code == 0);
    CHECK(get(run / "job.gcode") == wanted);
    const Ran same = run("forewarm rewrite -q --diff --rules two.toml job.gcode");
    CHECK(same.code == 0);
    CHECK(same.out.empty());
  }
  SECTION("and back") {
    const Ran back = run("forewarm restore job.gcode");
    CHECK(back.code == 0);
    CHECK(back.out.empty());
    CHECK(back.err.empty());
    CHECK(get(run / "job.gcode") == kJob);
  }
  SECTION("under another policy it is restored first") {
    put(run / "as.toml", kRules + "[gap]\npolicy = \"as-sliced\"\n");
    const Ran diff = run("forewarm rewrite --diff --rules as.toml job.gcode");
    CHECK(diff.code == 1);
    CHECK(diff.out.starts_with("--- job.gcode\n+++ job.gcode\n@@ -1,4 +1,3 @@\n-;forewarm 1 "));
    CHECK(get(run / "job.gcode") == wanted);
    const Ran again = run("forewarm rewrite --rules as.toml job.gcode");
    CHECK(again.code == 0);
    CHECK(again.err ==
          "forewarm: info: rules: as.toml\nforewarm: info: policy as-sliced: the job is left as it "
          "is\n");
    CHECK(get(run / "job.gcode") == kJob);
  }
}

TEST_CASE("mode and symbolic link stay") {
  Bench run;
  furnish(run);
  const std::string wanted = rewritten(run);
  CHECK(run("chmod 640 job.gcode; mkdir jobs; mv job.gcode jobs; ln -s jobs/job.gcode link; "
            "forewarm rewrite -q --rules two.toml link")
            .code == 0);
  CHECK(S_ISLNK(mode_of(run / "link")));
  CHECK((mode_of(run / "jobs/job.gcode") & 07777U) == 0640U);
  CHECK(get(run / "jobs/job.gcode") == wanted);
  CHECK(run("forewarm restore link").code == 0);
  CHECK(S_ISLNK(mode_of(run / "link")));
  CHECK((mode_of(run / "jobs/job.gcode") & 07777U) == 0640U);
  CHECK(get(run / "jobs/job.gcode") == kJob);
}

TEST_CASE("a job with other names needs a word") {
  Bench run;
  furnish(run);
  const Ran ran = run("ln job.gcode other; forewarm rewrite --rules two.toml job.gcode");
  CHECK(ran.code == 4);
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run("forewarm rewrite -q --allow-hard-linked --rules two.toml job.gcode").code == 0);
  CHECK(get(run / "job.gcode") != kJob);
  CHECK(get(run / "other") == kJob);
}

TEST_CASE("where the rewritten job goes") {
  Bench run;
  furnish(run);
  const std::string wanted = rewritten(run);
  const std::string rewrite = "forewarm rewrite -q --rules two.toml ";
  CHECK(run(rewrite + "- <job.gcode").out == wanted);
  CHECK(run("cat job.gcode | " + rewrite + "-").out == wanted);
  CHECK(run(rewrite + "- -o - <job.gcode").out == wanted);
  CHECK(run(rewrite + "job.gcode -o /dev/stdout").out == wanted);
  CHECK(run(rewrite + "- -o a.gcode <job.gcode").out.empty());
  CHECK(get(run / "a.gcode") == wanted);
  CHECK(run(rewrite + "job.gcode --output b.gcode").out.empty());
  CHECK(get(run / "b.gcode") == wanted);
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run("forewarm restore - <a.gcode").out == kJob);
  CHECK(run("forewarm restore a.gcode -o -").out == kJob);
  CHECK(run("forewarm restore a.gcode -o c.gcode").out.empty());
  CHECK(get(run / "c.gcode") == kJob);
  CHECK(get(run / "a.gcode") == wanted);
}

TEST_CASE("the diff and the dry run write nothing") {
  Bench run;
  furnish(run);
  const std::string wanted = rewritten(run);
  const Ran diff = run("forewarm rewrite --diff --rules two.toml job.gcode");
  CHECK(diff.code == 1);
  CHECK(diff.err == kRulesNote);
  CHECK(
      diff.out.starts_with("--- job.gcode\n+++ job.gcode\n@@ -1,3 +1,4 @@ before layer 1, "
                           "0:00:00\n+;forewarm 1 "));
  const Ran dry = run("forewarm rewrite --dry-run --rules two.toml job.gcode");
  CHECK(dry.code == 0);
  CHECK(dry.out.empty());
  CHECK(dry.err == kRulesNote + kSummary);
  CHECK(run("forewarm rewrite --dry-run -q --rules two.toml job.gcode -o x").out.empty());
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run.names() == std::vector<std::string>{"job.gcode", "two.toml"});

  put(run / "delta", diff.out);
  CHECK(run("patch -s job.gcode delta").code == 0);
  CHECK(get(run / "job.gcode") == wanted);
}

TEST_CASE("diff of two jobs") {
  Bench run;
  furnish(run);
  put(run / "new.gcode", rewritten(run));
  const Ran ran = run("forewarm diff --rules two.toml job.gcode new.gcode");
  CHECK(ran.code == 1);
  CHECK(ran.err == kRulesNote);
  CHECK(
      ran.out.starts_with("--- job.gcode\n+++ new.gcode\n@@ -1,3 +1,4 @@ before layer 1, "
                          "0:00:00\n+;forewarm 1 "));
  const Ran same = run("forewarm diff job.gcode job.gcode");
  CHECK(same.code == 0);
  CHECK(same.out.empty());
  CHECK(run("forewarm diff - job.gcode <job.gcode").code == 0);
  CHECK(run("forewarm diff job.gcode - <new.gcode").code == 1);
}

TEST_CASE("JSON on standard output stands alone") {
  Bench run;
  furnish(run);
  for (const char* line : {"forecast --json -", "rewrite --json -", "rewrite --dry-run --json -",
                           "rewrite -o out.gcode --json -"}) {
    CAPTURE(line);
    put(run / "job.gcode", kJob);
    const Ran ran = run(std::string("forewarm ") + line + " --rules two.toml job.gcode");
    CHECK(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out, nullptr, false);
    REQUIRE(json.is_object());
    CHECK(json.at("schema_version") == 1);
    CHECK(json.at("job").at("path") == "job.gcode");
    CHECK(json.at("job").at("bytes") == kJob.size());
    CHECK(json.at("changes").at("toolhead") == 2);
  }
  CHECK(run("forewarm forecast --rules two.toml --json f.json job.gcode").out.size() > 100);
  CHECK(nlohmann::json::parse(get(run / "f.json")).at("schema_version") == 1);
}

TEST_CASE("a job that never changes its tool is left byte for byte") {
  Bench run;
  const std::string job = get(std::string(FOREWARM_FIXTURES) + "/single_tool.gcode");
  put(run / "job.gcode", job);
  const std::string note =
      "forewarm: info: rules: built-in guesses, not measured on this machine\n"
      "forewarm: info: only one tool prints, once: the job is left as it is, also what it leaves "
      "on\n";
  const std::string rewrite = "forewarm rewrite --rules built-in ";
  const Ran ran = run(rewrite + "job.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.err == note);
  CHECK(get(run / "job.gcode") == job);
  const Ran copy = run(rewrite + "job.gcode -o -");
  CHECK(copy.out == job);
  CHECK(copy.err == note);
  CHECK(run(rewrite + "-q job.gcode -o out.gcode").err.empty());
  CHECK(get(run / "out.gcode") == job);
  const Ran diff = run(rewrite + "--diff job.gcode");
  CHECK(diff.code == 0);
  CHECK(diff.out.empty());
}

TEST_CASE("output that cannot be written is an error") {
  Bench run;
  furnish(run);
  put(run / "new.gcode", rewritten(run));
  for (const char* line :
       {"rewrite -q --rules two.toml job.gcode -o -",
        "rewrite -q --rules two.toml --diff job.gcode",
        "rewrite -q --rules two.toml --json - job.gcode", "restore new.gcode -o -",
        "forecast -q --rules two.toml job.gcode", "diff -q job.gcode new.gcode", "rules new",
        "rules check two.toml", "--help", "rewrite --help", "--version"}) {
    CAPTURE(line);
    const Ran full = run(std::string("forewarm ") + line + " >/dev/full");
    CHECK(full.code == 4);
    CHECK(full.err == "forewarm: error: standard output: cannot write: No space left on device\n");
    const Ran closed = run(std::string("forewarm ") + line + " >&-");
    CHECK(closed.code == 4);
    CHECK(closed.err == "forewarm: error: standard output: cannot write: Bad file descriptor\n");
  }
  CHECK(get(run / "job.gcode") == kJob);
  const Ran device = run("forewarm rewrite -q --rules two.toml job.gcode -o /dev/full");
  CHECK(device.code == 4);
  // Nothing goes to standard output here, so it may be closed.
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode >&-").code == 0);
  CHECK(run("forewarm restore job.gcode <&- >&- 2>&-").code == 0);
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("a broken pipe is quiet") {
  Bench run;
  furnish(run);
  for (const char* line : {"rewrite -q --rules $CONFIG/demo.toml $FIXTURES/trail_map.gcode -o -",
                           "rewrite -q --rules $CONFIG/demo.toml $FIXTURES/trail_map.gcode --diff",
                           "diff -q $FIXTURES/trail_map.gcode $FIXTURES/trail_map_arcs.gcode"}) {
    CAPTURE(line);
    const Ran ran =
        run("{ forewarm " + std::string(line) + "; echo $? >code; } | head -c 10 >/dev/null");
    CHECK(ran.err.empty());
    CHECK(get(run / "code") == "4\n");
  }
}

TEST_CASE("a line of ten megabytes") {
  Bench run;
  furnish(run);
  const std::string job = kJob + "; " + std::string(10'000'000, 'x') + "\n" + "G1 X10 Y40 E1";
  put(run / "job.gcode", job);
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode").code == 0);
  CHECK(get(run / "job.gcode").ends_with("\nG1 X10 Y40 E1\nM104 T0 S0 ;fw+ off: no further use"));
  CHECK(run("forewarm restore job.gcode").code == 0);
  CHECK(get(run / "job.gcode") == job);
  // In a message it is cut.
  put(run / "bad.gcode", "T7 ;" + std::string(10'000'000, 'x'));
  const Ran ran = run("forewarm rewrite --rules two.toml bad.gcode");
  CHECK(ran.code == 3);
  CHECK(ran.err.size() < 1000);
}

TEST_CASE("CR LF") {
  Bench run;
  furnish(run);
  const std::string wanted = rewritten(run);
  put(run / "job.gcode", crlf(kJob));
  CHECK(run("forewarm rewrite -q --rules two.toml job.gcode").code == 0);
  const std::string out = get(run / "job.gcode");
  CHECK(out.substr(out.find('\n')) == crlf(wanted).substr(crlf(wanted).find('\n')));
  CHECK(run("forewarm restore job.gcode").code == 0);
  CHECK(get(run / "job.gcode") == crlf(kJob));
}

TEST_CASE("rules check") {
  Bench run;
  furnish(run);
  const Ran ran = run("forewarm rules check -q two.toml");
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out == "good: 2 toolheads, 0 filaments\n  rules: two.toml, " + hash_in(rewritten(run)) +
                       "\n  ash: heater 0, T0\n  cedar: heater 1, T1\n");
  const std::string demo = run("forewarm rules check -q $CONFIG/demo.toml").out;
  CHECK(demo.starts_with("good: 3 toolheads, 7 filaments\n  rules: " FOREWARM_SOURCE_DIR
                         "/config/demo.toml, "));
  CHECK(demo.ends_with(
      "\n  ash: heater 0, T0\n  birch: heater 1, T1 T2 T3 T4 T5, by feeder\n  cedar: heater 2, "
      "T6\n"));
}

TEST_CASE("rules new passes rules check") {
  Bench run;
  furnish(run);
  CHECK(run("forewarm rules new >new.toml && forewarm rules check new.toml")
            .out.starts_with("good: one toolhead for each T number in a job\n  rules: new.toml, "));
  CHECK(run("forewarm rules new").out ==
        get(std::string(FOREWARM_SOURCE_DIR) + "/config/default.toml"));
  const Ran begun =
      run("forewarm rules new --from job.gcode >new.toml && forewarm rules check -q new.toml");
  CHECK(begun.out.starts_with("good: 2 toolheads, 2 filaments\n  rules: new.toml, "));
  CHECK(begun.out.ends_with("\n  T0: heater 0, T0\n  T1: heater 1, T1\n"));
  // What is begun from a job fits it.
  for (const std::string& name : kFixtures) {
    CAPTURE(name);
    const Ran ran = run("forewarm rules new --from $FIXTURES/" + name +
                        " >new.toml && forewarm rules check new.toml && "
                        "forewarm rewrite -q --rules new.toml $FIXTURES/" +
                        name + " -o out.gcode");
    CHECK(ran.code == 0);
    CHECK(ran.err.empty());
  }
  const Ran ran = run("echo G21 >none.gcode; forewarm rules new --from none.gcode");
  CHECK(ran.code == 3);
  CHECK(ran.out.empty());
  CHECK(ran.err.starts_with("forewarm: error: none.gcode: the job heats and selects no tool\n"));
}

TEST_CASE("colour only where it is wanted") {
  Bench run;
  furnish(run);
  const std::string dry = "forewarm rewrite --dry-run --rules two.toml job.gcode ";
  const auto coloured = [&](const std::string& script) {
    return run(script).err.find('\x1b') != std::string::npos;
  };
  CHECK_FALSE(coloured(dry));
  CHECK_FALSE(coloured(dry + "--color never"));
  CHECK_FALSE(coloured("NO_COLOR=1 " + dry));
  CHECK(coloured(dry + "--color always"));
  CHECK(coloured("NO_COLOR=1 " + dry + "--color always"));
}

TEST_CASE("control characters of a job reach no terminal") {
  Bench run;
  furnish(run);
  put(run / "bad.gcode", "T7 ; \x1b[31m red \r\a\n");
  const Ran ran = run("forewarm rewrite --rules two.toml bad.gcode");
  CHECK(ran.code == 3);
  CHECK(ran.err.find("\n  T7 ; ?[31m red ??\n") != std::string::npos);
}

TEST_CASE("help") {
  Bench run;
  const Ran top = run("forewarm --help");
  CHECK(top.code == 0);
  CHECK(top.err.empty());
  for (const char* part : {"Example: forewarm rewrite", "Hot ends burn", "thermal-runaway",
                           "smoke alarm", "rewrite", "forecast", "diff", "restore", "rules"}) {
    CAPTURE(part);
    CHECK(top.out.find(part) != std::string::npos);
  }
  for (const char* command :
       {"rewrite", "forecast", "compare", "diff", "restore", "rules check", "rules new"}) {
    CAPTURE(command);
    const Ran ran = run(std::string("forewarm ") + command + " --help");
    CHECK(ran.code == 0);
    CHECK(ran.err.empty());
    CHECK(ran.out.find(std::string("Example: forewarm ") + command) != std::string::npos);
  }
  CHECK(run("forewarm rewrite --help").out.find("Hot ends burn") != std::string::npos);
  CHECK(run("forewarm rules --help").out.find("Example: forewarm rules") != std::string::npos);
}

TEST_CASE("version") {
  Bench run;
  const Ran ran = run("forewarm --version");
  CHECK(ran.code == 0);
  CHECK(ran.out.starts_with("forewarm " FOREWARM_VERSION "\ncommit: "));
  CHECK(ran.err.empty());
}

TEST_CASE("every fixture: rewritten, restored, and what it prints unchanged") {
  const std::string name = GENERATE(from_range(kFixtures));
  CAPTURE(name);
  Bench run;
  const std::string job = get(std::string(FOREWARM_FIXTURES) + "/" + name);
  put(run / "job.gcode", job);
  REQUIRE(run("forewarm rewrite -q --rules $CONFIG/demo.toml job.gcode -o new.gcode").code == 0);
  if (name == "single_tool.gcode") {
    CHECK(get(run / "new.gcode") == job);
  } else {
    REQUIRE(run("forewarm restore new.gcode -o old.gcode").code == 0);
    CHECK(get(run / "old.gcode") == job);
  }
  // Moves and selects but for those of step sequences; the count of a numbered job is seen by
  // rewrite_tests.
  const std::string seen =
      "grep -v -e ' ;fw+ step ' -e ' ;fw+ down ' {} | tr a-z A-Z | grep -E '^(N[0-9]+ "
      ")?(G[0-3]|G9|G20|G21|M8[23]|T)'";
  const auto of = [&](const std::string& file) {
    std::string script = seen;
    return run(script.replace(script.find("{}"), 2, file)).out;
  };
  CHECK(of("job.gcode").size() > 1000);
  CHECK(of("new.gcode") == of("job.gcode"));
}

TEST_CASE("check: a good rewrite, beside its original and alone") {
  Bench run;
  furnish(run);
  put(run / "new.gcode", rewritten(run));
  const auto before = run.names();
  const std::string summary =
      "no findings: 4 extruding moves compared, 6 lines inserted, 1 line removed; 15 min 26 s, "
      "1 min 29 s of it waiting\nrules: two.toml, " +
      hash_in(get(run / "new.gcode")) + "\n";
  for (const char* jobs : {"job.gcode new.gcode", "new.gcode",
                           "new.gcode new.gcode",  // the one before is restored first
                           "job.gcode - <new.gcode", "- new.gcode <job.gcode", "- <new.gcode"}) {
    CAPTURE(jobs);
    const Ran ran = run("forewarm check --rules two.toml " + std::string(jobs));
    CHECK(ran.code == 0);
    CHECK(ran.out == summary);
    CHECK(ran.err == kRulesNote);
  }
  // It looks, and writes nothing.
  CHECK(run.names() == before);
  CHECK(get(run / "job.gcode") == kJob);
}

TEST_CASE("check: a rewrite that was spoiled") {
  Bench run;
  furnish(run);
  std::string text = rewritten(run);
  const std::string wanted = "M109 T1 S210\n";
  REQUIRE(text.find(wanted) != std::string::npos);
  text.insert(text.find(wanted), "M140 S60 ;fw+ a step\n");
  put(run / "new.gcode", text);
  for (const char* jobs : {"job.gcode new.gcode", "new.gcode"}) {
    CAPTURE(jobs);
    const Ran ran = run("forewarm check --rules two.toml " + std::string(jobs));
    CHECK(ran.code == 1);
    CHECK(ran.out.starts_with("new.gcode:"));
    CHECK(ran.out.find(": inserted-unknown: \"M140 S60\"\n\ninserted-unknown: An inserted line "
                       "is ") != std::string::npos);
    CHECK(ran.out.find("\n1 finding: ") != std::string::npos);
    CHECK(ran.err == kRulesNote);
  }
}

TEST_CASE("check: findings as JSON") {
  Bench run;
  furnish(run);
  std::string text = rewritten(run);
  text.replace(text.find("E1 F1200"), 8, "E2 F1200");
  put(run / "new.gcode", text);
  const Ran ran = run("forewarm check --rules two.toml job.gcode new.gcode --json -");
  CHECK(ran.code == 1);
  CHECK(ran.err == kRulesNote);
  const auto json = nlohmann::json::parse(ran.out);
  CHECK(json["schema_version"] == 1);
  std::string ids;
  for (const auto& finding : json["findings"]) ids += finding["id"].get<std::string>() + " ";
  CHECK(ids == "original-hash move-changed ");
  CHECK(json["findings"][1]["message"] == "\"G1 X20 Y10 E1 F1200\" became \"G1 X20 Y10 E2 F1200\"");
  CHECK(json["explain"].contains("move-changed"));
  CHECK(json["left_out"] == 0);

  // Into a file, the text still comes.
  const Ran both = run("forewarm check --rules two.toml job.gcode new.gcode --json found.json");
  CHECK(both.code == 1);
  CHECK(both.out.find(": move-changed: ") != std::string::npos);
  CHECK(get(run / "found.json") == ran.out);
  const Ran over = run("forewarm check --rules two.toml job.gcode new.gcode --json new.gcode");
  CHECK(over.code == 2);
  CHECK(get(run / "new.gcode") == text);
}

TEST_CASE("check: what is refused") {
  Bench run;
  furnish(run);
  put(run / "new.gcode", rewritten(run));
  put(run / "empty.gcode", "");
  const std::string no_marks =
      "forewarm: error: job.gcode:1: not a job that forewarm rewrote: it bears no marks\n"
      "  hint: give the original too, to compare the two\n";
  struct Case {
    std::string line;
    int code;
    std::string err;
  };
  for (const Case& c : {
           Case{"job.gcode", 3, no_marks},
           Case{"empty.gcode", 3, "forewarm: error: empty.gcode: the job is empty\n"},
           Case{"none.gcode", 4,
                "forewarm: error: none.gcode: cannot open: No such file or directory\n"},
           Case{"none.gcode new.gcode", 4,
                "forewarm: error: none.gcode: cannot open: No such file or directory\n"},
           Case{"job.gcode none.gcode", 4,
                "forewarm: error: none.gcode: cannot open: No such file or directory\n"},
           Case{"- -", 2, "forewarm: error: only one of the two can be standard input\n"},
           Case{"", 2,
                "forewarm: error: which job? check ORIGINAL REWRITTEN, or REWRITTEN alone\n"},
       }) {
    CAPTURE(c.line);
    const Ran ran = run("forewarm check -q --rules two.toml " + c.line);
    CHECK(ran.code == c.code);
    CHECK(ran.out.empty());
    CHECK(ran.err == c.err);
  }
}

TEST_CASE("check: other rules than those it was rewritten by") {
  Bench run;
  furnish(run);
  put(run / "new.gcode", rewritten(run));
  put(run / "other.toml", "# the same, but for this line\n" + kRules);
  const Ran ran = run("forewarm check --rules other.toml job.gcode new.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.err ==
        "forewarm: info: rules: other.toml\n"
        "forewarm: info: the job was rewritten with other rules than those in force: findings may "
        "come of that\n");
}

TEST_CASE("check: what findings mean") {
  Bench run;
  const Ran one = run("forewarm check --explain above-max");
  CHECK(one.code == 0);
  CHECK(one.out == "above-max: finding of check\n  A target is above the toolhead's max_c.\n");
  CHECK(run("forewarm explain above-max").out == one.out);
  CHECK(one.err.empty());
  const Ran all = run("forewarm check --explain all");
  CHECK(all.code == 0);
  CHECK(all.out.starts_with("mark-damaged: "));
  CHECK(all.out.find("\nabove-max: A target is above the toolhead's max_c.\n") !=
        std::string::npos);
  CHECK(all.err.empty());
  const Ran slip = run("forewarm check --explain abov-max");
  CHECK(slip.code == 2);
  CHECK(slip.out.empty());
  CHECK(slip.err ==
        "forewarm: error: nothing is called \"abov-max\"\n  hint: did you mean \"above-max\"?\n");
}

TEST_CASE("check: help") {
  Bench run;
  CHECK(run("forewarm --help").out.find("\n  check ") != std::string::npos);
  const Ran ran = run("forewarm check --help");
  CHECK(ran.code == 0);
  CHECK(ran.out.find("Example: forewarm check") != std::string::npos);
  CHECK(ran.err.empty());
}

TEST_CASE("check: no fixture's rewrite has findings") {
  const std::string name = GENERATE(from_range(kFixtures));
  CAPTURE(name);
  Bench run;
  REQUIRE(run("forewarm rewrite -q --rules $CONFIG/demo.toml $FIXTURES/" + name + " -o new.gcode")
              .code == 0);
  const Ran ran =
      run("forewarm check -q --rules $CONFIG/demo.toml $FIXTURES/" + name + " new.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.out.starts_with("no findings: "));
  CHECK(ran.err.empty());
}

TEST_CASE("a job that breaks off is rewritten, and said to") {
  Bench run;
  const std::string whole = get(FOREWARM_FIXTURES "/trail_map.gcode");
  put(run / "job.gcode", whole.substr(0, whole.size() / 2));
  const std::string rules = "-q --rules $CONFIG/demo.toml ";
  const std::string warning =
      "job.gcode: it breaks off within a line: nothing after its last move that feeds ends it, and "
      "it leaves the bed at 60 C and 3 toolheads on; is it whole?";
  const Ran made = run("forewarm rewrite " + rules + "job.gcode -o new.gcode");
  CHECK(made.code == 0);
  CHECK(made.err == "forewarm: warning: " + warning + '\n');
  const Ran checked = run("forewarm check " + rules + "job.gcode new.gcode");
  CHECK(checked.code == 1);
  CHECK(checked.out.find("job-breaks-off") != std::string::npos);
  CHECK(run("forewarm forecast " + rules + "job.gcode").err == made.err);
  CHECK(run("forewarm compare " + rules + "job.gcode").err == made.err);
  CHECK(run("forewarm batch " + rules + "-o out job.gcode").err == made.err);
  // As a hook, too; and what it wrote says nothing more of it than the job did.
  CHECK(run("forewarm rewrite " + rules + "job.gcode").err == made.err);
  CHECK(run("forewarm restore -q job.gcode -o back.gcode").code == 0);
  CHECK(get(run / "back.gcode") == whole.substr(0, whole.size() / 2));
}

TEST_CASE("forecast: when the exchanges fall") {
  Bench run;
  const std::string base =
      "forewarm forecast -q --rules $CONFIG/demo.toml --start 2027-03-05T18:00 "
      "$FIXTURES/trail_map.gcode";
  const Ran text = run(base + " --away 22:00-07:00 --away 12:00-13:00");
  CHECK(text.code == 0);
  CHECK(text.out.find("\n  away 22:00-07:00, 12:00-13:00: ") != std::string::npos);
  CHECK(text.out.find("without time zones or\n  daylight-saving time\n") != std::string::npos);
  // Without a start there are no clock times.
  const Ran plain = run("forewarm forecast -q --rules $CONFIG/demo.toml $FIXTURES/trail_map.gcode");
  CHECK(plain.out.find("2027") == std::string::npos);
  CHECK(plain.out.find("\nattention\n") != std::string::npos);
  const Ran csv = run(base + " --csv -");
  CHECK(csv.code == 0);
  CHECK(csv.out.substr(0, 18) == "time_s,clock,kind,");
  CHECK(csv.out.find(",2027-03-05T18:00:22,first,cedar,,6,,signal red,0,7,0,") !=
        std::string::npos);
  REQUIRE(run(base + " --csv f.csv").out.substr(0, 5) != "time_");
  CHECK(get(run / "f.csv") == csv.out);
  CHECK(run(base + " --csv f.csv >/dev/full").code == 4);
}

TEST_CASE("forecast: starts and hours away that are wrong") {
  Bench run;
  put(run / "job.gcode", "T0\nT1\n");
  struct Case {
    std::string options, says;
  };
  for (const Case& c : {
           Case{"--away 22:00-07:00", "--away needs --start\n  hint: say when"},
           Case{"--start today",
                "--start today: neither date nor time of day can be read\n  hint: "
                "write --start 2027-03-05T18:00"},
           Case{"--start 2027-02-29T18:00", "there is no such day"},
           Case{"--start 2027-02-28T18:00 --away 7-9",
                "--away 7-9: no two times of day can be "
                "read\n  hint: write --away 22:00-07:00"},
           Case{"--done-by 2027-02-28T18:00", "--done-by needs --start\n  hint: say when"},
           Case{"--within 48", "--within needs --start\n  hint: say when"},
           Case{"--start 2027-02-28T18:00 --done-by noon",
                "--done-by noon: neither date nor time of day can be read\n  hint: "
                "write --done-by 2027-03-05T18:00"},
           Case{"--start 2027-02-28T18:00 --done-by 2027-02-28T17:00",
                "--done-by is not after --start\n  hint: the job begins at 2027-02-28 18:00"},
           Case{"--start 2027-02-28T18:00 --away 06:00-18:00 --away 18:00-06:00",
                "--away: nobody is ever at the machine: away covers the whole day\n  hint: leave"},
           Case{"--csv - --json -", "only one result can go to standard output"},
           Case{"--csv job.gcode", "the report would overwrite the job"},
       }) {
    CAPTURE(c.options);
    const Ran ran = run("forewarm forecast job.gcode " + c.options);
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CAPTURE(ran.err);
    CHECK(ran.err.find(c.says) != std::string::npos);
  }
  CHECK(get(run / "job.gcode") == "T0\nT1\n");
}

TEST_CASE(
    "what the job says of corners that the machine does not have is left aside, with a note") {
  const Bench run;
  put(run / "two.toml", kRules + "[motion]\nright_angle_mm_s = 5\n");
  put(run / "job.gcode", "M205 X9\nM205 J0.1\n" + kJob);
  const std::string note =
      "forewarm: info: job.gcode:1: M205 is left aside, here and later: corners go by "
      "right_angle_mm_s\n";
  const auto once = [&](const std::string& err) {
    const auto at = err.find(note);
    return at != std::string::npos && err.find("left aside", at + note.size()) == std::string::npos;
  };
  CHECK(once(run("forewarm forecast --rules two.toml job.gcode").err));
  CHECK(once(run("forewarm compare --rules two.toml job.gcode").err));
  CHECK(once(run("forewarm batch --rules two.toml -o ready job.gcode").err));
  CHECK(once(run("forewarm rewrite --rules two.toml --map 0=1,1=0 job.gcode -o out").err));
  CHECK(once(run("forewarm rewrite --rules two.toml job.gcode").err));
  CHECK(run("forewarm check --rules two.toml job.gcode").code == 0);
}
