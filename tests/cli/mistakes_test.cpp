// What a command line that is refused is answered with.
#include <sstream>

#include "cli/mistakes.h"
#include "cli_test_help.h"

using namespace forewarm::cli;

namespace {

std::vector<std::string> words_of(const std::string& line) {
  std::istringstream in(line);
  std::vector<std::string> words;
  for (std::string word; in >> word;) words.push_back(word);
  return words;
}

// "message | hint"
std::string said(const forewarm::Error& error) {
  CHECK(error.kind == forewarm::Error::Kind::usage);
  return error.message + " | " + error.hint;
}

std::string answer(const std::string& line) {
  Options options;
  return said(why_refused(command_line(options), words_of(line), "as the parser put it"));
}

const std::string kParser = "as the parser put it | forewarm --help, or --help after a command";

}  // namespace

TEST_CASE("a slip in a command or an option is answered with what was probably meant") {
  struct Case {
    std::string line, says;
  };
  const Case c = GENERATE(
      Case{"rewrit job", "forewarm has no command \"rewrit\" | did you mean rewrite?"},
      Case{"forcast job", "forewarm has no command \"forcast\" | did you mean forecast?"},
      Case{"calib", "forewarm has no command \"calib\" | did you mean calibrate?"},
      Case{"rules chek", "forewarm rules has no command \"chek\" | did you mean check?"},
      Case{"frobnicate", "forewarm has no command \"frobnicate\" | forewarm --help has them all"},
      // Two begin so.
      Case{"re", "forewarm has no command \"re\" | forewarm --help has them all"},
      Case{"--verson", "forewarm has no option \"--verson\" | did you mean --version?"},
      Case{"rewrite --htm page job",
           "forewarm rewrite has no option \"--htm\" | did you mean "
           "--html?"},
      Case{"rewrite --htm=page job",
           "forewarm rewrite has no option \"--htm\" | did you mean "
           "--html?"},
      Case{"rewrite --out job",
           "forewarm rewrite has no option \"--out\" | did you mean "
           "--output?"},
      Case{"forecast job --stort 2027-03-05T18:00",
           "forewarm forecast has no option \"--stort\" | did you mean --start?"},
      Case{"forecast job --htlm page",
           "forewarm forecast has no option \"--htlm\" | did you mean --html?"},
      Case{"rules new --form job",
           "forewarm rules new has no option \"--form\" | did you mean "
           "--from?"},
      Case{"rewrite --frobnicate job",
           "forewarm rewrite has no option \"--frobnicate\" | forewarm "
           "rewrite --help has its options"},
      Case{"rewrite -z job",
           "forewarm rewrite has no option \"-z\" | forewarm rewrite --help has "
           "its options"},
      Case{"--rules machine.toml rewrite job",
           "forewarm has no option \"--rules\" | options come after the command: forewarm rewrite "
           "--rules"},
      Case{"", "forewarm needs a command | forewarm --help has them all"},
      Case{"rules", "forewarm rules needs a command | forewarm rules --help has them all"});
  CAPTURE(c.line);
  CHECK(answer(c.line) == c.says);
}

TEST_CASE("a file whose name begins with - is told how to be named") {
  const std::string how = "a file whose name begins with - is given as ./";
  CHECK(answer("rewrite -x.gcode") == "forewarm rewrite has no option \"-x.gcode\" | " + how +
                                          "-x.gcode, or after --: -- -x.gcode");
  // A flag, and no flag after it.
  CHECK(answer("rewrite -q.gcode") == "forewarm rewrite has no option \"-q.gcode\" | " + how +
                                          "-q.gcode, or after --: -- -q.gcode");
  // An option with its value.
  CHECK(answer("rewrite -o.gcode") ==
        "as the parser put it | " + how + "-o.gcode, or after --: -- -o.gcode");
  CHECK(answer("rewrite -x\x1b.gcode").find('\x1b') == std::string::npos);
}

TEST_CASE("a long option with one dash is not taken for short ones") {
  struct Case {
    std::string line, says;  // nothing: the line is the parser's
  };
  const Case c =
      GENERATE(Case{"rewrite -html page job",
                    "forewarm rewrite has no option \"-html\" | did you mean --html?"},
               Case{"rewrite job -output=out",
                    "forewarm rewrite has no option \"-output\" | did you mean --output?"},
               Case{"rules new -from job",
                    "forewarm rules new has no option \"-from\" | did you mean --from?"},
               Case{"rewrite -q -oout job", ""}, Case{"rewrite -help", ""},
               Case{"rewrite --html page job", ""}, Case{"rewrite -- -html", ""},
               Case{"restore -html", ""}, Case{"-html", ""}, Case{"", ""});
  CAPTURE(c.line);
  Options options;
  const auto error = lacks_a_dash(command_line(options), words_of(c.line));
  CHECK((error ? said(*error) : "") == c.says);
}

TEST_CASE("what the parser found is said where commands and options are known") {
  for (const char* line :
       {"rewrite", "rewrite a b", "rewrite --html", "compare --sweep", "rewrite -- -x.gcode b",
        "rewrite -q -o out a b", "batch --jobs=99 job"}) {
    CAPTURE(line);
    CHECK(answer(line) == kParser);
  }
}

TEST_CASE("the program says so, and does nothing") {
  Bench run;
  put(run / "-x.gcode", "G1 X1\n");
  const Ran slip = run("forewarm rewrit job.gcode");
  CHECK(slip.code == 2);
  CHECK(slip.out.empty());
  CHECK(slip.err ==
        "forewarm: error: forewarm has no command \"rewrit\"\n  hint: did you mean rewrite?\n");
  const Ran one = run("forewarm rewrite -html page.html -x.gcode");
  CHECK(one.code == 2);
  CHECK(one.out.empty());
  CHECK(one.err ==
        "forewarm: error: forewarm rewrite has no option \"-html\"\n  hint: did you mean "
        "--html?\n");
  const Ran dash = run("forewarm rewrite --rules built-in -x.gcode");
  CHECK(dash.code == 2);
  CHECK(dash.err.find("  hint: a file whose name begins with - is given as ./-x.gcode") !=
        std::string::npos);
  CHECK(get(run / "-x.gcode") == "G1 X1\n");
  // As the hint has it.
  for (const char* name : {"./-x.gcode", "-- -x.gcode"}) {
    CAPTURE(name);
    const Ran named = run(std::string("forewarm forecast -q --rules built-in ") + name);
    CHECK(named.code == 0);
    CHECK(named.out.find("-x.gcode\n") != std::string::npos);
  }
}
