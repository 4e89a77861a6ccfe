// Patterns for commands that nobody knows, and hints that hold them.
#include "report/rules_text.h"

#include <catch2/catch.hpp>
#include <string>

#include "report/patterns_for.h"
#include "rules/recogniser.h"

using namespace forewarm;

namespace {

std::string pattern(std::string_view text, std::vector<std::string> groups, bool numbered = false) {
  return report::pattern_for(text, groups, numbered);
}

job::UnknownCommand command(const std::string& shape, const std::string& text, std::uint64_t line,
                            std::uint64_t count) {
  return {shape, text, line, count};
}

}  // namespace

TEST_CASE("patterns are made of lines") {
  CHECK(pattern("CHANGE_TO 3", {"tool"}) == R"('^CHANGE_TO\s+(?P<tool>\d+)')");
  CHECK(pattern("CHANGE_TO 3 FAST 7", {"tool"}) == R"('^CHANGE_TO\s+(?P<tool>\d+)')");
  CHECK(pattern("WARM 1 S215.5", {"heater", "temp"}) ==
        R"('^WARM\s+(?P<heater>\d+)\s+S(?P<temp>[\d.]+)')");
  CHECK(pattern("GO 4 T2", {"", "tool"}) == R"('^GO\s+[\d.]+\s+T(?P<tool>\d+)')");
  CHECK(pattern("M600.5 T1", {"tool"}) == R"('^M600\.5\s+T(?P<tool>\d+)')");
  CHECK(pattern("PICK(a)+ [x]", {}) == R"('^PICK\(a\)\+\s+\[x\]')");
  CHECK(pattern("PICK_ASH", {}) == R"('^PICK_ASH\b')");
  CHECK(pattern("PICK_ASH", {}, true) == R"('^N\d+\s*PICK_ASH\b')");
  CHECK(pattern("SAY 'a'", {}) == R"("^SAY\\s+'a'")");
  CHECK(report::pattern_for_word("g28 x0", "G28", false) == R"('^g28\b')");
  CHECK(report::pattern_for_word("PICK3 FAST", "PICK", false) == "'^PICK'");
  CHECK(report::first_word("PICK # FAST") == "PICK");
  CHECK(report::first_word("PICK#") == "PICK");
  CHECK(report::first_word("") == "");
}

TEST_CASE("what is in force fits the width, place and all") {
  using From = rules::InForce::From;
  const std::vector<rules::PartInForce> parts{
      {"[record]",
       {{"stop_s", "60", From::fallback},
        {"time", "a stamp or a clock at the start of the line, after [ or without it", From::file,
         7}}}};
  const std::string key = "  time                         ", below(31, ' ');
  CHECK(report::in_force_text(parts, "x/a.toml", 110) ==
        "[record]\n  stop_s                       60" + std::string(34, ' ') + "default\n" + key +
            "a stamp or a clock at the start of the line, after [ or without it  a.toml:7\n");
  CHECK(report::in_force_text(parts, "x/a.toml", 80) ==
        "[record]\n  stop_s                       60" + std::string(34, ' ') + "default\n" + key +
            "a stamp or a clock at the start of the line,\n" + below + "after [ or without it\n" +
            below + "a.toml:7\n");
}

TEST_CASE("which patterns fit nothing") {
  rules::Rules rules;
  rules.recognise = {{"^A", rules::Recognise::As::layer}, {"it's", rules::Recognise::As::layer}};
  rules.durations = {{"^G28", 1}};
  rules.motion.rests_at = {"^M1"};
  const std::vector<std::uint64_t> hits{1, 0, 0, 4};
  const auto counts = report::pattern_counts(rules, hits);
  REQUIRE(counts.size() == 4);
  CHECK(counts[3].pattern == "rests_at '^M1'");
  CHECK(counts[3].count == 4);
  CHECK(report::matched_nothing(counts) ==
        "patterns of the rule file that no line of the job matches: [[recognise]] \"it's\", "
        "[[duration]] '^G28'");
  CHECK(report::matched_nothing(report::pattern_counts(rules, {})).find("rests_at") !=
        std::string::npos);
  CHECK(report::matched_nothing({}).empty());
}

TEST_CASE("hints are for jobs whose selects nobody knows, and for hundreds of equal commands") {
  const std::vector<job::UnknownCommand> few{command("G28", "G28", 2, 1)};
  report::JobWords words;
  words.unknown = few;
  words.selected = {"T0"};
  words.waited = 2;  // one of them warmed for nothing
  CHECK(report::unknown_hint(words).empty());
  words.waited = 12;
  CHECK(report::unknown_hint(words).starts_with(
      "the job waits for 12 heaters, but selects T0 alone; of its commands these are not known, "
      "the most frequent first:\n  once, first in line 2: G28\n"));
  words.unknown = {};
  CHECK(report::unknown_hint(words) ==
        "the job waits for 12 heaters, but selects T0 alone; if it prints with others, say by "
        "[[recognise]] how it selects them");
  words.selected = {"T0", "T1"};
  CHECK(report::unknown_hint(words).empty());
  // Shapes of one word count together.
  const std::vector<job::UnknownCommand> many{command("WIPE # FAST", "WIPE 1 FAST", 9, 150),
                                              command("PICK #", "PICK 3", 8, 120),
                                              command("WIPE SLOW", "WIPE SLOW", 4, 60)};
  words.unknown = many;
  const std::string hint = report::unknown_hint(words);
  CHECK(
      hint.starts_with("of its commands these are not known, the most frequent first:\n"
                       "  210 times, first in line 4: WIPE SLOW\n"
                       "  120 times, first in line 8: PICK 3\n"));
  CHECK(hint.find("match = '^WIPE\\b'\n  seconds = 0") != std::string::npos);
  // A wait for the bed selects no tool, however often it stands there.
  const std::vector<job::UnknownCommand> bed{command("M190 S#", "M190 S60", 3, 400),
                                             command("WARM_HEAD # S#", "WARM_HEAD 1 S210", 8, 300)};
  words.unknown = bed;
  const std::string other = report::unknown_hint(words);
  CHECK(other.find("[[recognise]]\n  match = '^WARM_HEAD") != std::string::npos);
  CHECK(other.find("[[duration]]\n  match = '^M190\\b'") != std::string::npos);
  words.unknown = std::span(bed).first(1);
  CHECK(report::unknown_hint(words).find("[[recognise]]") == std::string::npos);
}

TEST_CASE("what a hint says to write fits the line that it is for") {
  for (const char* line : {"CHANGE_TO 3", "PICK(a) 7", "GO+TO {x} 12", "SAY 'it' 4"}) {
    CAPTURE(line);
    std::string text = pattern(line, {"tool"});
    // Out of TOML's quotes.
    const bool literal = text.front() == '\'';
    text = text.substr(1, text.size() - 2);
    if (!literal) {
      for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] == '\\') text.erase(i, 1);
      }
    }
    const auto recogniser = rules::Recogniser::make({{text, rules::Recognise::As::change}}, {});
    REQUIRE(recogniser);
    std::vector<rules::Recognised> found;
    std::optional<double> seconds;
    recogniser->match(line, found, seconds);
    REQUIRE(found.size() == 1);
    CHECK(found[0].tool.has_value());
  }
}
