// At what target filament moves, by the text of a job alone.
#include "check/fed.h"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <sstream>

#include "help/jobs.h"

using namespace forewarm;

namespace {

// "T0 200, T1 210": each time filament is moved by another tool or at another target.
std::string fed(const std::string& text, const std::string& more = "") {
  const rules::Rules rules = test::rules_of(std::string(test::kTwoHeads) + more);
  const auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) FAIL(render(recogniser.error()));
  check::Fed machine(rules, *recogniser);
  std::string out;
  std::string last;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) {
    machine.line(line);
    if (machine.did() != check::Fed::Activity::fed) continue;
    std::string now = fmt::format("T{} {:g}", machine.tool(), machine.target_c());
    if (now != last) out += (out.empty() ? "" : ", ") + now;
    last = std::move(now);
  }
  return out;
}

}  // namespace

TEST_CASE("targets are by toolhead") {
  CHECK(fed("M83\nM104 T0 S200\nM104 T2 S220\nT0\nG1 E1\nT1\nG1 E1\nM104 S210\nG1 E1\nT0\nG1 "
            "E-1\n") == "T0 200, T1 220, T1 210, T0 200");
  CHECK(fed("M83\nM104 T1 S200\nM104 T0 S190\nT2\nG1 E1\n",
            "[dialect]\ntemperature_index = \"heater\"\n") == "T2 200");
  CHECK(fed("M83\nHEAT 1 200\nUSE 2\nG1 E1\nG10\n",
            "[[recognise]]\nmatch = '^HEAT (?P<heater>\\d+) (?P<temp>\\d+)'\nas = \"set\"\n"
            "[[recognise]]\nmatch = '^USE (?P<tool>\\d+)'\nas = \"change\"\n") == "T2 200");
}

TEST_CASE("filament that nothing is known of") {
  CHECK(fed("M83\nG1 E1\n") == "T0 0");
  CHECK(fed("M83\nG1 E-1\n") == "");  // no tool, and nothing is pushed
  CHECK(fed("M83\nM104 S200\nG1 E1\nT-1\nM104 S190\nT0\nG1 E1\n") == "T0 200, T0 190");
  CHECK(fed("\xef\xbb\xbfT1\nM83\nM104 S-5\nG1 E1\nM104 T9 S300\nG1 E1\n") == "T1 0");
}
