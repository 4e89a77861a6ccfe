// Which rule file is in force, and that nothing uses guesses unless it was asked to.
#include <nlohmann/json.hpp>

#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

const std::string& kRules = kTwoToolheads;

const std::string kJob =
    "M83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 X20 E1 F1200\nT1\nM109 T1 S210\n"
    "G1 X10 E1\nG4 S400\nG1 X30 E1\nT0\nM109 T0 S200\nG1 X10 E1\n";

const std::string kNone = "forewarm: error: there is no rule file that describes the machine\n";
const std::string kNotGiven = "  --rules is not given\n  $FOREWARM_RULES is not set\n";
const std::string kGuesses =
    "forewarm: info: rules: built-in guesses, not measured on this machine\n";

void furnish(const Bench& run) {
  put(run / "two.toml", kRules);
  put(run / "job.gcode", kJob);
}

// The last word of what a command says of its rules.
std::string hash_of_rules(const std::string& said) {
  const std::size_t at = said.find("rules: ");
  REQUIRE(at != std::string::npos);
  const std::string line = said.substr(at, said.find('\n', at) - at);
  return line.substr(line.rfind(' ') + 1);
}

}  // namespace

TEST_CASE("no rule file: what writes jobs refuses, and names every place that was looked at") {
  Bench run;
  furnish(run);
  const std::string home = run.root() + "/home/.config/forewarm", xdg = run.root() + "/xdg";
  const auto begin_in = [](const std::string& folder) {
    return "  hint: name yours with --rules FILE, or begin one with mkdir -p " + folder +
           " && forewarm rules new --from JOB > " + folder +
           "/rules.toml; --rules built-in uses guesses\n";
  };
  const std::string begin_anywhere =
      "  hint: name yours with --rules FILE, or begin one with forewarm rules new --from JOB > "
      "rules.toml; --rules built-in uses guesses\n";
  struct Case {
    std::string environment, says;
  };
  for (const Case& c : {
           Case{"", "  " + home + "/rules.toml does not exist\n" + begin_in(home)},
           Case{"FOREWARM_RULES= XDG_CONFIG_HOME= ",
                "  " + home + "/rules.toml does not exist\n" + begin_in(home)},
           Case{"XDG_CONFIG_HOME=" + xdg + " ",
                "  " + xdg + "/forewarm/rules.toml does not exist\n" + begin_in(xdg + "/forewarm")},
           Case{"XDG_CONFIG_HOME=xdg ", "  $XDG_CONFIG_HOME is not an absolute path\n  " + home +
                                            "/rules.toml does not exist\n" + begin_in(home)},
           // The part that should be a folder is a file.
           Case{"XDG_CONFIG_HOME=$PWD/job.gcode ",
                "  " + (run / "job.gcode/forewarm/rules.toml does not exist\n") +
                    begin_in(run / "job.gcode/forewarm")},
           Case{"HOME= ", "  $HOME is not set\n" + begin_anywhere},
           Case{"env -i ", "  $HOME is not set\n" + begin_anywhere},
           Case{"HOME=home ", "  $HOME is not an absolute path\n" + begin_anywhere},
       }) {
    CAPTURE(c.environment);
    for (const char* line :
         {"rewrite job.gcode", "rewrite -q job.gcode", "rewrite --diff job.gcode",
          "rewrite --dry-run job.gcode", "rewrite job.gcode -o new.gcode --json new.json",
          "rewrite - <job.gcode", "batch -o out job.gcode"}) {
      CAPTURE(line);
      const Ran ran = run(c.environment + FOREWARM_BINARY " " + line);
      CHECK(ran.code == 2);
      CHECK(ran.out.empty());
      CHECK(ran.err == kNone + kNotGiven + c.says);
    }
  }
  CHECK(get(run / "job.gcode") == kJob);
  CHECK(run.names() == std::vector<std::string>{"job.gcode", "two.toml"});
}

TEST_CASE("no rule file: what only reads uses guesses, and says so") {
  Bench run;
  furnish(run);
  REQUIRE(run("forewarm rewrite -q --rules built-in job.gcode -o new.gcode").code == 0);
  for (const char* line : {"forecast job.gcode", "compare job.gcode", "assign job.gcode",
                           "check job.gcode new.gcode"}) {
    CAPTURE(line);
    const Ran ran = run(std::string("forewarm ") + line);
    CHECK(ran.code == 0);
    CHECK(ran.err == kGuesses);
    CHECK(ran.out.find("rules: built-in guesses, ") != std::string::npos);
    const Ran quiet = run(std::string("forewarm ") + line + " -q");
    CHECK(quiet.err.empty());
    CHECK(quiet.out == ran.out);
  }
  CHECK(run("forewarm rules check").out.find("\n  rules: built-in guesses, ") != std::string::npos);
}

TEST_CASE("built-in asks for the guesses, and a file of that name is still had") {
  Bench run;
  furnish(run);
  const std::string made = get(std::string(FOREWARM_SOURCE_DIR) + "/config/default.toml");
  put(run / "same.toml", made);
  REQUIRE(run("forewarm rewrite -q --rules same.toml job.gcode -o same.gcode").code == 0);
  const Ran asked = run("forewarm rewrite --rules built-in job.gcode -o new.gcode");
  CHECK(asked.code == 0);
  CHECK(asked.err.starts_with(kGuesses));
  CHECK(get(run / "new.gcode") == get(run / "same.gcode"));
  const Ran variable = run("FOREWARM_RULES=built-in forewarm rewrite job.gcode -o new.gcode");
  CHECK(variable.code == 0);
  CHECK(variable.err == asked.err);
  CHECK(run("forewarm batch --rules built-in -o out job.gcode").err == kGuesses);
  CHECK(get(run / "out/job.gcode") == get(run / "same.gcode"));

  put(run / "built-in", kRules);
  const Ran word = run("forewarm rules check --rules built-in");
  CHECK(word.out.starts_with("good: one toolhead for each T number in a job\n"));
  CHECK(run("forewarm rules check built-in").out == word.out);
  const Ran file = run("forewarm rewrite --rules ./built-in job.gcode -o new.gcode");
  CHECK(file.code == 0);
  CHECK(file.err.starts_with("forewarm: info: rules: ./built-in\n"));
  REQUIRE(run("forewarm rewrite -q --rules two.toml job.gcode -o two.gcode").code == 0);
  CHECK(get(run / "new.gcode") == get(run / "two.gcode"));
  // Only the word as it stands.
  CHECK(run("forewarm rewrite --rules Built-In job.gcode").err ==
        "forewarm: error: Built-In: cannot open: No such file or directory\n");
}

TEST_CASE("every command says which rules are in force, by the name they were found under") {
  Bench run;
  furnish(run);
  REQUIRE(run("forewarm rewrite -q --rules two.toml job.gcode -o new.gcode").code == 0);
  const std::string usual = run.root() + "/home/.config/forewarm/rules.toml";
  std::filesystem::create_directories(run.root() + "/home/.config/forewarm");
  put(usual, kRules);
  for (const char* line :
       {"rewrite --dry-run job.gcode", "rewrite --diff job.gcode", "forecast job.gcode",
        "compare job.gcode", "assign job.gcode", "check job.gcode new.gcode",
        "diff job.gcode new.gcode", "batch -o out job.gcode"}) {
    CAPTURE(line);
    const std::string command = std::string("forewarm ") + line;
    const auto note = [](const std::string& path) {
      return "forewarm: info: rules: " + path + "\n";
    };
    CHECK(run(command).err.starts_with(note(usual)));
    CHECK(run("FOREWARM_RULES=./two.toml " + command).err.starts_with(note("./two.toml")));
    CHECK(run(command + " --rules two.toml").err.starts_with(note("two.toml")));
    CHECK(run(command + " -q").err.empty());
  }
  CHECK(run("forewarm rules check").out.find("\n  rules: " + usual + ", ") != std::string::npos);
  // Commands that go by no rules say nothing of them.
  for (const char* line : {"restore new.gcode -o -", "diff --stat job.gcode new.gcode", "rules new",
                           "rules new --from job.gcode", "check --explain all"}) {
    CAPTURE(line);
    CHECK(run(std::string("forewarm ") + line).err.empty());
  }
}

TEST_CASE("reports have the rules' path and the hash that rewritten jobs bear") {
  Bench run;
  furnish(run);
  REQUIRE(run("forewarm rewrite -q --rules two.toml job.gcode -o new.gcode").code == 0);
  const std::string text = get(run / "new.gcode");
  REQUIRE(text.starts_with(";forewarm 1 rules="));
  const std::string hash = text.substr(18, 16);
  for (const char* line : {"forecast job.gcode", "compare job.gcode", "assign job.gcode",
                           "check job.gcode new.gcode"}) {
    CAPTURE(line);
    const std::string command = "forewarm " + std::string(line) + " -q ";
    const Ran said = run(command + "--rules two.toml");
    CHECK(said.out.find("rules: two.toml, " + hash + "\n") != std::string::npos);
    const auto rules_in = [&](const std::string& more) {
      const auto json = nlohmann::json::parse(run(command + "--json - " + more).out);
      CHECK(json["schema_version"] == 1);
      return json["rules"];
    };
    CHECK(rules_in("--rules two.toml") == nlohmann::json({{"path", "two.toml"}, {"hash", hash}}));
    const auto guesses = rules_in("");
    CHECK(guesses["path"].is_null());
    CHECK(guesses["hash"] == hash_of_rules(run("forewarm rules check").out));
    CHECK(rules_in("--rules built-in") == guesses);
  }
  // With filaments elsewhere they are still the same rules.
  CHECK(run("forewarm forecast -q --rules two.toml --map 0=1,1=0 job.gcode")
            .out.find("rules: two.toml, " + hash + "\n") != std::string::npos);
  REQUIRE(run("forewarm rewrite -q --rules two.toml job.gcode --html f.html --json f.json").code ==
          0);
  CHECK(get(run / "f.html").find("<p>Rules: two.toml, " + hash + "</p>") != std::string::npos);
  CHECK(nlohmann::json::parse(get(run / "f.json"))["rules"]["hash"] == hash);
}

TEST_CASE("a usual rule file that is there but cannot be read is no reason to guess") {
  Bench run;
  furnish(run);
  const std::string usual = run.root() + "/home/.config/forewarm/rules.toml";
  std::filesystem::create_directories(usual);
  for (const char* line : {"rewrite job.gcode", "forecast job.gcode", "rules check"}) {
    CAPTURE(line);
    const Ran ran = run(std::string("forewarm ") + line);
    CHECK(ran.code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == "forewarm: error: " + usual + ": cannot read: Is a directory\n");
  }
  // A loop of links: what is in the way is not "does not exist".
  std::filesystem::remove(usual);
  std::filesystem::create_symlink("rules.toml", usual);
  const Ran loop = run("forewarm forecast job.gcode");
  CHECK(loop.code == 2);
  CHECK(loop.err ==
        "forewarm: error: " + usual + ": cannot open: Too many levels of symbolic links\n");
}

TEST_CASE("control characters of a rule file's name reach no terminal") {
  Bench run;
  furnish(run);
  const std::string odd = "'two\x1b[31m.toml'";
  const Ran ran = run("cp two.toml " + odd + "; forewarm forecast --rules " + odd + " job.gcode");
  CHECK(ran.code == 0);
  CHECK(ran.err == "forewarm: info: rules: two?[31m.toml\n");
  CHECK(ran.out.find('\x1b') == std::string::npos);
  const Ran home = run("HOME='/no\x1b[31m' forewarm rewrite job.gcode");
  CHECK(home.code == 2);
  CHECK(home.err.find('\x1b') == std::string::npos);
  CHECK(home.err.find("  /no?[31m/.config/forewarm/rules.toml does not exist\n") !=
        std::string::npos);
}
