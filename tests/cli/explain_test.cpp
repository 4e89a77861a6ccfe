// What is explained: every key, every finding, every word of a report, every exit code.
#include <set>

#include "check/finding.h"
#include "cli/exit_codes.h"
#include "cli/topics.h"
#include "cli_test_help.h"
#include "report/glossary.h"
#include "rules/key_info.h"

using namespace forewarm;
using namespace forewarm::cli;

namespace {

std::string said(const std::string& word) {
  auto text = explanation(word);
  if (text) return *text;
  return "error: " + text.error().message + " | " + text.error().hint;
}

bool has(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

// With single blanks: explanations are wrapped.
std::string squeezed(const std::string& text) {
  std::string out;
  for (const char c : text) {
    const char plain = c == '\n' ? ' ' : c;
    if (plain != ' ' || (!out.empty() && out.back() != ' ')) out += plain;
  }
  return out;
}

}  // namespace

TEST_CASE("a key of a rule file is explained by its entry in the table") {
  CHECK(said("hold_drop_c") ==
        "gap.hold_drop_c: key of a rule file\n"
        "  A gap in which the heater would cool by less is held.\n"
        "  type       number\n"
        "  unit       degrees Celsius\n"
        "  range      0 to 1000\n"
        "  default    8\n"
        "  stands in  [gap]\n"
        "  example    hold_drop_c = 8\n");
  CHECK(said("gap.hold_drop_c") == said("hold_drop_c"));
  CHECK(said("toolhead.ash.heater.dead_time_s") == said("toolhead.heater.dead_time_s"));
  CHECK(said("filament.T3.standby_c") == said("filament.standby_c"));
  CHECK(has(said("toolhead.heater.power_w"), "stands in  heater = { ... } of [[toolhead]], or "));
  CHECK(said("heater.power_w") == said("power_w"));
  CHECK(has(said("power_w"), "default    none: it must be given\n"));
}

TEST_CASE("a choice is explained with all of its words") {
  const std::string text = said("gap.policy");
  CHECK(has(text, "  one of     \"lookahead\": Each gap is held, "));
  CHECK(has(text, "\n             \"hold\": Parked heaters never cool.\n"));
}

TEST_CASE("a word with several meanings is explained by all of them") {
  const std::string text = said("policy");
  CHECK(has(text, "gap.policy: key of a rule file\n"));
  CHECK(has(text, "\n\npolicy: word of the reports\n"));
  CHECK(has(said("standby_c"), "filament.standby_c: "));
  CHECK(has(said("standby_c"), "material.standby_c: "));
}

TEST_CASE("every key, finding, word and exit code is explained by its own text") {
  for (const rules::KeyInfo& key : rules::all_keys()) {
    CAPTURE(key.name);
    const std::string text = squeezed(said(std::string(key.name)));
    CHECK(has(text, squeezed(std::string(key.doc))));
    CHECK(has(text, "example " + squeezed(key.example)));
  }
  for (std::size_t i = 0; i < check::kIds; ++i) {
    const std::string name(check::name_of(check::Id(i)));
    CAPTURE(name);
    CHECK(has(squeezed(said(name)), std::string(check::explain(check::Id(i)))));
  }
  for (const report::GlossaryWord& word : report::glossary()) {
    CAPTURE(word.name);
    CHECK(has(squeezed(said(std::string(word.name))), std::string(word.meaning)));
  }
  for (const ExitCode& code : exit_codes()) {
    CAPTURE(code.code);
    const std::string number = std::to_string(code.code);
    CHECK(has(squeezed(said(number)), std::string(code.meaning)));
    CHECK(said("exit code " + number) == said(number));
  }
}

TEST_CASE("there is an exit code for each that the program ends with") {
  std::set<int> known;
  for (const ExitCode& code : exit_codes()) known.insert(code.code);
  CHECK(known == std::set<int>{kDone, kDiffers, kUsage, kRefused, kIo, kBug});
}

TEST_CASE("case, commas, hyphens and underscores make no difference") {
  for (const char* word : {"hot idle", "hot-idle", "Hot_Idle", "  HOT  IDLE "}) {
    CAPTURE(word);
    CHECK(said(word).starts_with("hot idle: word of the reports\n"));
  }
  CHECK(said("park, pick") == said("park-pick"));
}

TEST_CASE("an unknown word is answered with the nearest") {
  struct Case {
    std::string word, says;
  };
  const Case c = GENERATE(
      Case{"hot idel", "nothing is called \"hot idel\" | did you mean \"hot idle\"?"},
      Case{"gap.of_over_s",
           "nothing is called \"gap.of_over_s\" | did you mean "
           "\"gap.off_over_s\"?"},
      Case{"move-addd", "nothing is called \"move-addd\" | did you mean \"move-added\"?"},
      Case{"5", "nothing is called \"5\" | forewarm explain --list has all that is explained"},
      Case{"qqqqqqqqqqqqqq",
           "nothing is called \"qqqqqqqqqqqqqq\" | forewarm explain --list has "
           "all that is explained"},
      Case{"", "nothing is called \"\" | forewarm explain --list has all that is explained"});
  CAPTURE(c.word);
  CHECK(said(c.word) == "error: " + c.says);
}

TEST_CASE("every word that is offered to shells is explained, and is one word") {
  const std::vector<std::string> words = words_explained();
  CHECK(words.size() > 200);
  for (const std::string& word : words) {
    CAPTURE(word);
    CHECK(explanation(word).ok());
    CHECK(word.find_first_of(" ,'\"") == std::string::npos);
  }
}

TEST_CASE("explain, as a user runs it") {
  Bench run;
  const Ran two_words = run("forewarm explain hot idle");
  CHECK(two_words.code == 0);
  CHECK(two_words.err.empty());
  CHECK(two_words.out.starts_with("hot idle: word of the reports\n  The time that parked "));
  const Ran slip = run("forewarm explain gap.of_over_s");
  CHECK(slip.code == 2);
  CHECK(slip.out.empty());
  CHECK(slip.err ==
        "forewarm: error: nothing is called \"gap.of_over_s\"\n  hint: did you mean "
        "\"gap.off_over_s\"?\n");
  const Ran nothing = run("forewarm explain");
  CHECK(nothing.code == 2);
  CHECK(nothing.err ==
        "forewarm: error: what is to be explained?\n  hint: forewarm explain --list has all that "
        "can be\n");
}

TEST_CASE("explanations are as wide as the terminal") {
  const auto longest = [](const std::string& text) {
    std::size_t out = 0;
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = text.find('\n', at);
      out = std::max(out, characters(std::string_view(text).substr(at, end - at)));
      at = end + 1;
    }
    return out;
  };
  Bench run;
  const auto at_width = [&](const std::string& columns, const std::string& line) {
    return run("COLUMNS=" + columns + " forewarm explain " + line).out;
  };
  const std::string narrow = at_width("60", "policy");
  CHECK(longest(narrow) > 50);
  CHECK(longest(narrow) <= 60);
  CHECK(squeezed(narrow) == squeezed(at_width("85", "policy")));
  CHECK(longest(at_width("85", "policy")) > 80);
  CHECK(longest(at_width("60", "--list")) <= 60);
  CHECK(longest(at_width("100", "--list")) > 90);
  CHECK(longest(at_width("100", "--list")) <= 100);
}

TEST_CASE("explain --list has every word, with its kind") {
  Bench run;
  const std::string list = run("forewarm explain --list").out;
  CHECK(list.starts_with("Keys of rule files\n  version "));
  for (const char* part :
       {"\n  toolhead.heater.max_c ", "\n\nFindings of check\n  mark-damaged ",
        "\n\nWords of the reports\n", "\n  physical bound ", "\n\nExit codes\n  0 ", "\n  70 "}) {
    CAPTURE(part);
    CHECK(has(list, part));
  }
}
