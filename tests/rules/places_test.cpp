#include <catch2/catch.hpp>

#include "rules/load.h"

using namespace forewarm;

namespace {

const std::string kMachine = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 1
)";

rules::Filament filament(const std::string& text) {
  const auto r = rules::load(kMachine + text, "rules.toml");
  if (!r) FAIL(render(r.error()) << "\nin:\n" << text);
  return r->filament(1);
}

std::string refusal(const std::string& text) {
  const auto r = rules::load(kMachine + text, "rules.toml");
  return r ? "accepted" : render(r.error());
}

// Which of T0, T1, T2 are named.
std::string named(const rules::Places& places) {
  std::string out;
  for (const auto& [tool, head] : {std::pair(0, 0U), {1, 1U}, {2, 1U}}) {
    if (places.name(tool, head)) out += std::to_string(tool);
  }
  return out;
}

}  // namespace

TEST_CASE("where a filament may be") {
  CHECK_FALSE(filament("").only.has_value());
  CHECK(filament("").never.empty());
  CHECK_FALSE(filament("").fixed);
  CHECK(filament("").line == 10);
  CHECK(named(*filament("only = [0, 2]\n").only) == "02");
  CHECK(named(*filament("only = [\"birch\"]\n").only) == "12");
  CHECK(named(*filament("only = [\"ash\", 2]\n").only) == "02");
  CHECK(named(filament("never = [\"birch\"]\n").never) == "12");
  CHECK(filament("never = []\n").never.empty());
  CHECK(filament("fixed = true\n").fixed);
  CHECK(filament("fixed = true\nonly = [\"birch\"]\nnever = [2]\n").fixed);
  // It may be told to leave.
  CHECK(named(*filament("only = [0]\n").only) == "0");
  CHECK(rules::load(kMachine, "rules.toml")->file == "rules.toml");
}

TEST_CASE("places that are refused") {
  struct Case {
    std::string text, refusal;
  };
  for (const Case& c : {
           Case{
               "only = 0\n",
               "rules.toml:12:8: only must be an array of T numbers and names of toolheads, not an "
               "integer\n  only = 0\n         ^"},
           Case{"only = []\n",
                "rules.toml:12:8: only must name at least one tool or toolhead\n  only = []\n"
                "         ^\n  hint: leave it out where the filament may go anywhere"},
           Case{"only = [0, 3]\n",
                "rules.toml:12:12: no toolhead serves T3\n  only = [0, 3]\n             ^"},
           Case{"never = [-1]\n",
                "rules.toml:12:10: a tool in never must be from 0 to 65535, not -1\n"
                "  never = [-1]\n           ^"},
           Case{"never = [1.5]\n",
                "rules.toml:12:10: a tool in never must be a whole number, not a float\n"
                "  never = [1.5]\n           ^"},
           Case{"only = [\"brich\"]\n",
                "rules.toml:12:9: there is no toolhead \"brich\"\n  only = [\"brich\"]\n"
                "          ^\n  hint: did you mean \"birch\"?"},
           Case{"fixed = 1\n",
                "rules.toml:12:9: fixed must be true or false, not an integer\n  fixed = 1\n"
                "          ^"},
           Case{"fixed = true\nonly = [0, 2]\n",
                "rules.toml:12:9: fixed keeps this filament at T1, where only does not let it be\n"
                "  fixed = true\n          ^"},
           Case{"fixed = true\nnever = [\"birch\"]\n",
                "rules.toml:12:9: fixed keeps this filament at T1, where never does not let it be\n"
                "  fixed = true\n          ^"},
           Case{"only = [\"birch\"]\nnever = [2, 1]\n",
                "rules.toml:13:9: never leaves this filament no tool at all\n  never = [2, 1]\n"
                "          ^"},
           Case{"only = [1, 2]\nnever = [\"birch\"]\n",
                "rules.toml:13:9: never leaves this filament no tool at all\n"
                "  never = [\"birch\"]\n          ^"},
           Case{"never = [0, \"birch\"]\n",
                "rules.toml:12:9: never leaves this filament no tool at all\n"
                "  never = [0, \"birch\"]\n          ^"},
           Case{"onyl = [0]\n",
                "rules.toml:12:1: unknown key \"onyl\" in [[filament]]\n  onyl = [0]\n  ^\n"
                "  hint: did you mean \"only\"?"},
       }) {
    INFO(c.text);
    CHECK(refusal(c.text) == c.refusal);
  }
}

TEST_CASE("with a toolhead for each tool seen, places are T numbers") {
  const std::string seen = R"(version = 1
[[toolhead]]
name = "toolhead"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 1
)";
  CHECK(rules::load(seen + "only = [7]\nnever = [3]\n", "r").ok());
  const auto named = rules::load(seen + "only = [\"toolhead1\"]\n", "r");
  REQUIRE_FALSE(named.ok());
  CHECK(render(named.error()) ==
        "r:8:9: with tools = \"seen\" toolheads have no names of their own\n"
        "  only = [\"toolhead1\"]\n          ^\n  hint: give the T number");
}

TEST_CASE("what an exchange sends to waste") {
  const auto with = [](const std::string& value) {
    return rules::load(
        kMachine +
            "[[toolhead]]\nname = \"cedar\"\ntools = [6]\n"
            "heater = { index = 6, power_w = 50, full_drive_c = 450, time_constant_s = "
            "180 }\nexchange_purge_mm3 = " +
            value + "\n",
        "r");
  };
  CHECK(rules::load(kMachine, "r")->toolheads[0].exchange_purge_mm3 == 0);
  CHECK(with("90.5")->toolheads[2].exchange_purge_mm3 == 90.5);
}
