// Rule files that nobody writes in good faith: huge, deep, costly, or damaged.
#include <catch2/catch.hpp>
#include <optional>
#include <random>

#include "rules/recogniser.h"
#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;
using rules::Rules;

TEST_CASE("refused: a file that is too large") {
  const std::string big = kMinimal + repeated("# a remark\n", 100000);
  CHECK(refusal(big) == "rules.toml: a rule file has at most 1 MiB");
  accepted(big.substr(0, 1 << 20));
}

TEST_CASE("refused: nesting that only an attack has, without a crash") {
  const std::string deep = "nested too deeply for a rule file";
  const auto says_deep = [&](std::string text, const char* unit, int times, const char* after) {
    text.append(repeated(unit, times)).append(after);
    return refusal(text).find(deep) != std::string::npos;
  };
  CHECK(says_deep("x = ", "[", 500000, ""));
  CHECK(says_deep("x = ", "{a=", 300000, ""));
  CHECK(says_deep("x = ", "[{a=", 200000, ""));
  CHECK(says_deep("", "a.", 500000, "a = 1"));
  CHECK(says_deep("[", "a.", 500000, "a]"));
  CHECK(says_deep("[", "'a'.", 200000, "a]"));
  CHECK(says_deep("[", "a . ", 200000, "a]"));
  CHECK(refusal("x = 1\n y = [[[[[[[[[[[[[[[[[[[[") ==
        "rules.toml:2:22: " + deep + "\n   y = [[[[[[[[[[[[[[[[[[[[\n                       ^");

  // Neither text nor lists of fractions are nesting.
  accepted("# " + repeated("[", 100) + repeated("a.", 100) + "\n" + kMinimal);
  accepted(kVersion + "[machine]\nname = \"" + repeated("[.", 100) + "\"\n" + kToolhead);
  accepted(kVersion + "[machine]\nname = '''" + repeated("[.'", 100) + " '''\n" + kToolhead);
  accepted(kVersion + "[machine]\nname = \"\"\"" + repeated("[.\\\"\"", 100) + "\"\"\"\n" +
           kToolhead);
}

TEST_CASE("refused: more patterns than 200") {
  const std::string layer = "[[recognise]]\nmatch = \"^;\"\nas = \"layer\"\n";
  const std::string duration = "[[duration]]\nmatch = \"^G28\"\nseconds = 1\n";
  accepted(kMinimal + repeated(layer, 150) + repeated(duration, 50));
  CHECK(refusal(kMinimal + repeated(layer, 150) + repeated(duration, 51)) ==
        "rules.toml:606:1: more than 200 patterns in rests_at, [[recognise]] and [[duration]]\n"
        "  [[duration]]\n  ^");
}

TEST_CASE("as many mistakes as fit are as quick to find as one") {
  const auto number = [](const char* before, int i, const char* after) {
    return before + std::to_string(100'000 + i) + after;
  };
  // Names that are not there, each near to as many that are.
  std::string text = kMinimal;
  for (int i = 0; i < 12'000; ++i)
    text += number("[[filament]]\ntool = 0\nmaterial = \"m", i, "x\"\n");
  for (int i = 0; i < 12'000; ++i) text += number("[material.m", i, "]\n");
  CHECK(refusal(text).find(":8:12: there is no [material.m100000x]") != std::string::npos);

  text = kMinimal + "[steps]\n";
  for (int i = 0; i < 20'000; ++i) text += number("s", i, " = []\n");
  for (int i = 0; i < 10'000; ++i) {
    text += number("[material.m", 10'000 - i, "]\nbefore_exchange = \"none\"\n");
  }
  CHECK(refusal(text).find("there is no sequence \"none\"") != std::string::npos);

  // Steps that are too hot for every toolhead.
  text = kMinimal + "before_park = \"s\"\n";
  for (int i = 1; i < 3'000; ++i) {
    text += "[[toolhead]]\nname = \"" + std::to_string(i) + "\"\ntools = [" + std::to_string(i) +
            "]\nbefore_park = \"s\"\nheater = { power_w = 1, full_drive_c = 450, "
            "time_constant_s = 9 }\n";
  }
  text += "[steps]\ns = [" + repeated("{temp_c=999},", 40'000) + "]\n";
  CHECK(refusal(text).find("temp_c = 999 is above max_c") != std::string::npos);

  // Unknown keys, the last in the file sorted first.
  text = kMinimal + "[gap]\n";
  for (int i = 0; i < 50'000; ++i) text += number("k", 50'000 - i, " = 0\n");
  CHECK(refusal(text).find(":7:1: unknown key \"k150000\"") != std::string::npos);

  // A name as long as the file, near to none and to one as long.
  const std::string name(400'000, 'm');
  CHECK(refusal(kMinimal + "[material." + name + "]\n[[filament]]\ntool = 0\nmaterial = \"" + name +
                "x\"\n")
            .find("there is no [material.mmm") != std::string::npos);
}

TEST_CASE("patterns have a budget each and one together") {
  const auto duration = [](const std::string& match) {
    return "[[duration]]\nmatch = '" + match + "'\nseconds = 1\n";
  };
  // 8032 instructions each.
  const std::string large = "^G28(.{1,99}){9}";
  const Rules most = accepted(kMinimal + repeated(duration(large), 24));
  const auto recogniser = rules::Recogniser::make(most.recognise, most.durations);
  REQUIRE(recogniser);
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  recogniser->match("G28" + std::string(10'000, 'G'), found, seconds);
  CHECK(seconds == 1);
  CHECK(refusal(kMinimal + repeated(duration(large), 25)) ==
        "rules.toml:79:9: pattern is too large beside those before it: make repetitions smaller\n"
        "  match = '^G28(.{1,99}){9}'\n          ^");
  // Only the first that is wrong is compiled.
  CHECK(refusal(kMinimal + repeated(duration("(\\pL{1,30}\\pN){1,30}"), 200)).substr(0, 39) ==
        "rules.toml:7:9: pattern needs more than");
}

TEST_CASE("nested repetition takes no longer than the line") {
  const std::vector<rules::Duration> nested{{"(a*)*(a*)*(a*)*b", 1}, {"(a|a)*(a|a)*$", 2}};
  const auto evil = rules::Recogniser::make({}, nested);
  REQUIRE(evil);
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  evil->match(std::string(200'000, 'a') + "c", found, seconds);
  CHECK(seconds == 2);
}

TEST_CASE("any damage to a good file is refused in place or accepted, never worse") {
  const std::string demo = file("config/demo.toml");
  std::mt19937 random(20);  // the same damage each time
  const std::string bytes = "[]{}\"'=.,#\n\r\t\\ 0-_aT\xc3\xa4\xff";
  for (int i = 0; i < 1500; ++i) {
    std::string text = demo;
    for (int n = 0; n < 2; ++n) {
      const std::size_t at = random() % text.size();
      switch (random() % 3) {
        case 0:
          text[at] = bytes[random() % bytes.size()];
          break;
        case 1:
          text.erase(at, 1 + random() % 9);
          break;
        default:
          text.insert(at, 1, bytes[random() % bytes.size()]);
          break;
      }
    }
    const auto result = rules::load(text, "rules.toml");
    if (result) continue;
    INFO(render(result.error()));
    CHECK(result.error().kind == Error::Kind::rules);
    CHECK(result.error().line > 0);
    CHECK(result.error().column > 0);
  }
}
