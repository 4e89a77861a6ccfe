// Echoes in rewritten jobs: taken back, written again the same, and known to the check.
#include <catch2/catch.hpp>

#include "help/files.h"
#include "help/jobs.h"
#include "help/rewritten.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

rules::Rules demo_with(const std::string& echo) {
  std::string text = source_file("config/demo.toml");
  const std::string commented = "# echo = \"M118 {text}\"";
  const std::size_t at = text.find(commented);
  REQUIRE(at != std::string::npos);
  return rules_of(text.replace(at, commented.size(), "echo = " + echo));
}

// One inserted line, before the first select after planning's start.
std::string with_line(std::string job, const std::string& line) {
  const std::size_t at = job.find("forewarm 4 leave");
  REQUIRE(at != std::string::npos);
  return job.insert(job.rfind('\n', at) + 1, line + " ;fw+ echo\n");
}

}  // namespace

TEST_CASE("echoes are taken back, written again the same, and found in order") {
  for (const char* echo : {"'M118 {text}'", "['M400', 'M118 A1 {text}']", "'say \"{text}\" now'"}) {
    const auto rules = demo_with(echo);
    for (const char* name :
         {"trail_map_crlf.gcode", "trail_map_numbered.gcode", "trail_map_lower.gcode"}) {
      CAPTURE(echo, name);
      const std::string original = fixture(name);
      const std::string rewritten = rewrite_of(original, rules);
      CHECK(rewritten.find("forewarm 4 leave") != std::string::npos);
      CHECK(restored(rewritten) == original);
      CHECK(rewrite_of(restored(rewritten), rules) == rewritten);
      CHECK(print(report_of(&original, rewritten, rules)) == "");
      CHECK(print(report_of(nullptr, rewritten, rules)) == "");
    }
  }
}

TEST_CASE("a line that only looks like an echo is found") {
  const auto rules = demo_with("'M118 {text}'");
  const std::string rewritten = rewrite_of(fixture("trail_map_lower.gcode"), rules);
  CHECK(report_of(nullptr, with_line(rewritten, "M118 forewarm 3 ready"), rules)
            .findings.list()
            .empty());
  for (const char* line :
       {"M118 forewarm 3 away", "M118 forewarm ready", "M118 forewarm 3 ready now",
        "M118 something", "M117 forewarm 3 ready"}) {
    CAPTURE(line);
    const auto report = report_of(nullptr, with_line(rewritten, line), rules);
    CHECK(report.findings.count(check::Id::inserted_unknown) == 1);
  }
  // Without the key, none is known.
  const auto none = rules_of(source_file("config/demo.toml"));
  CHECK(report_of(nullptr, rewritten, none).findings.count(check::Id::inserted_unknown) > 0);
}
