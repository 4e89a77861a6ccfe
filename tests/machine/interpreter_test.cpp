// What lines ask of the machine, in the order in which it does them.
#include "machine/interpreter.h"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <string>

#include "machine/heater_targets.h"
#include "machine/pending_events.h"
#include "rules/load.h"

using namespace forewarm;
using machine::HeaterAddress;
using machine::Operation;

namespace {

const std::string kPatterns = R"toml(
[[recognise]]
match = "^;LAYER"
as = "layer"
[[recognise]]
match = "^;PURGE"
as = "purge-begin"
[[recognise]]
match = "^;PRINT"
as = "purge-end"
[[recognise]]
match = "^USE_(?P<tool>\\d+)"
as = "change"
[[recognise]]
match = "^HEAT (?P<heater>\\d+) (?P<temp>\\d+)"
as = "set"
[[recognise]]
match = "^SOAK T(?P<tool>\\d+) (?P<temp>\\d+)"
as = "wait"
[[recognise]]
match = "^HUMAN"
as = "pause"
[[duration]]
match = "^SCAN"
seconds = 12
)toml";

rules::Rules rules_of(const std::string& more) {
  auto rules = rules::load(
      "version = 1\n[[toolhead]]\nname = \"ash\"\ntools = [0]\n"
      "heater = { index = 4, power_w = 50, full_drive_c = 450, "
      "time_constant_s = 180 }\n" +
          more,
      "rules.toml");
  if (!rules) FAIL(render(rules.error()));
  return *rules;
}

std::string address_of(const HeaterAddress& address) {
  switch (address.by) {
    case HeaterAddress::By::tool:
      return fmt::format("T{}", address.number);
    case HeaterAddress::By::heater:
      return fmt::format("heater {}", address.number);
    case HeaterAddress::By::mounted:
      break;
  }
  return "mounted";
}

std::string text_of(const Operation& o) {
  switch (o.kind) {
    case Operation::Kind::layer:
      return "layer";
    case Operation::Kind::purge_begin:
      return "purge begins";
    case Operation::Kind::purge_end:
      return "purge ends";
    case Operation::Kind::rest:
      return "rest";
    case Operation::Kind::pass:
      return fmt::format("pass {:g}", o.seconds);
    case Operation::Kind::select:
      return fmt::format("select {}", o.tool);
    case Operation::Kind::set_target:
      return fmt::format("{} {}{}{}", o.waits ? "wait" : "set", address_of(o.heater),
                         o.temp_c ? fmt::format(" {:g}", *o.temp_c) : "",
                         o.waits_for_cooling ? " cooling" : "");
    case Operation::Kind::move:
      return "move";
    case Operation::Kind::set_limits:
      return "limits";
    case Operation::Kind::retract:
      return "retract";
    case Operation::Kind::unretract:
      return "unretract";
    case Operation::Kind::pause:
      return "pause";
  }
  return "?";
}

machine::InterpretedLine read(const std::string& text, const std::string& more = kPatterns) {
  const rules::Rules rules = rules_of(more);
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) FAIL(render(recogniser.error()));
  gcode::State state;
  machine::InterpretedLine line;
  machine::Interpreter(rules, *recogniser).read(text, state, line);
  return line;
}

std::string operations_of(const std::string& text, const std::string& more = kPatterns) {
  std::string out;
  for (const Operation& o : read(text, more).operations) {
    out += (out.empty() ? "" : ", ") + text_of(o);
  }
  return out;
}

}  // namespace

TEST_CASE("lines and what they ask for") {
  const struct {
    const char* line;
    const char* operations;
  } table[] = {
      {"", ""},
      {"; a comment", ""},
      {"G1 X5", "move"},
      {"G1 F600", ""},
      {"G2 X5 Y5 I2 J3 E1", "move"},
      {"G10", "retract"},
      {"G11", "unretract"},
      {"G28", "rest"},
      {"G4 P1500", "rest, pass 1.5"},
      {"M400", "rest"},
      {"M0", "rest, pause"},
      {"M1 Turn it", "rest, pause"},
      {"M25", "rest, pause"},
      {"M226 P4 S1", "rest, pause"},
      {"M600", "rest, pause"},
      {"M0 P1500", "rest, pass 1.5"},  // goes on by itself
      {"M1 S20", "rest, pass 20"},
      {"N7 m1 p500 s2 Wait", "rest, pass 2"},
      {"M0 S0", "rest, pause"},
      {"M0 Spool 3 is next", "rest, pause"},
      {"M0 Take 5", "rest, pause"},
      {"M104 S150 M0", "rest, set mounted 150, pause"},
      {"HUMAN", "rest, pause"},
      {"M190 S60", "rest"},
      {"M106 S99", ""},
      {"M204 S900", "limits"},
      {"T1", "rest, select 1"},
      {"T-1", "rest, select -1"},
      {"M104 S200", "set mounted 200"},
      {"M104 S-5", "set mounted 0"},
      {"M104", ""},  // asks for nothing
      {"M104 T2 S200", "set T2 200"},
      {"M109 T2 S200", "rest, wait T2 200"},
      {"M109 R50", "rest, wait mounted 50 cooling"},
      {"M109", "rest, wait mounted"},
      {"T1 M104 S200", "rest, select 1, set T1 200"},
      {"M140 S60", ""},
      {";LAYER 3", "layer"},
      {";PURGE", "purge begins"},
      {";PRINT", "purge ends"},
      {"USE_2", "rest, select 2"},
      {"HEAT 4 180", "set heater 4 180"},
      {"SOAK T0 180", "wait T0 180"},
      {"SCAN", "rest, pass 12"},
  };
  for (const auto& row : table) {
    INFO(row.line);
    CHECK(operations_of(row.line) == row.operations);
  }
}

TEST_CASE("lines at which motion comes to rest by a pattern do so before what they do") {
  const std::string rests = "[motion]\nrests_at = ['^M106', '^SAY', 'slow$']\n";
  const struct {
    const char* line;
    const char* operations;
  } table[] = {
      {"M106 S99", "rest"},
      {"SAY hello", "rest"},
      {"M107", ""},
      {"G1 X5 ;slow", "rest, move"},
      {"M104 T4 S200 ; slow", "rest, set T4 200"},
  };
  for (const auto& row : table) {
    INFO(row.line);
    CHECK(operations_of(row.line, rests) == row.operations);
  }
}

TEST_CASE("a line is no pause if the rule file says how long it takes, or that it is a change") {
  CHECK(operations_of("M600 T0",
                      "[[recognise]]\nmatch = '^M600 T(?P<tool>\\d)'\nas = \"change\"\n") ==
        "rest, select 0, rest");
  CHECK(operations_of("M0", "[[duration]]\nmatch = '^M0'\nseconds = 3\n") == "rest, pass 3, rest");
  // As a layer it may be both.
  CHECK(operations_of("M0 ;LAYER", "[[recognise]]\nmatch = 'LAYER'\nas = \"layer\"\n") ==
        "layer, rest, pause");
}

TEST_CASE("the T of a temperature may be a heater's number") {
  CHECK(operations_of("M109 T4 S200", "[dialect]\ntemperature_index = \"heater\"\n") ==
        "rest, wait heater 4 200");
}

TEST_CASE("a select by a pattern is in force in the state") {
  const rules::Rules rules = rules_of(kPatterns);
  auto recogniser = rules::Recogniser::make(rules);
  REQUIRE(recogniser);
  gcode::State state;
  machine::InterpretedLine line;
  machine::Interpreter(rules, *recogniser).read("USE_2", state, line);
  CHECK(state.tool == 2);
}

TEST_CASE("which lines do anything") {
  for (const char* const acts : {"G1 X5", "G1 F600", "M105", "NAMED", "USE_2", "HEAT 4 180"}) {
    INFO(acts);
    CHECK(read(acts).acts());
  }
  for (const char* const idle : {"", "; a comment", ";LAYER 3", ";PURGE", ";PRINT"}) {
    INFO(idle);
    CHECK_FALSE(read(idle).acts());
  }
  CHECK(read("G1 X5 E1").prints());
  for (const char* const no : {"G1 E1", "G1 X5 E-1", "G1 X5", "G11", "G1 Z5 E1"}) {
    INFO(no);
    CHECK_FALSE(read(no).prints());
  }
}

TEST_CASE("a toolhead's heater, by tool, by heater, and mounted") {
  const rules::Rules rules = rules_of("");
  machine::Heads heads(rules);
  machine::ToolChanger changer(heads);
  using By = HeaterAddress::By;
  CHECK(changer.head_of({By::tool, 0}) == 0);
  CHECK(changer.head_of({By::heater, 4}) == 0);
  CHECK(changer.head_of({By::mounted, -1}) == 0);  // before any select that is T0's
  CHECK(changer.head_of({By::tool, 4}) == machine::kNone);
  CHECK(changer.head_of({By::heater, 0}) == machine::kNone);
  CHECK(heads.of({By::mounted, -1}) == machine::kNone);
}

TEST_CASE("filament that is pulled after an off is pulled at the target before it") {
  const rules::Rules rules = rules_of("");
  const machine::Heads heads(rules);
  machine::HeaterTargets targets(heads);
  CHECK_FALSE(targets.begin_use(0, false));  // pulled cold
  targets.set(0, 210);
  CHECK(targets.on() == 1);
  targets.set(0, 0);
  CHECK(targets.on() == 0);
  CHECK(targets.pulled_at_c(0) == 210);
  CHECK(targets.begin_use(0, false));
  CHECK(targets[0].used_c == 210);
  targets.feed();
  CHECK(targets.pulled_at_c(0) == 0);
  CHECK_FALSE(targets.begin_use(0, false));
}

TEST_CASE("events happen once their moves are timed, in order") {
  machine::PendingEvents<int> pending;
  std::string happened;
  const auto settle = [&](std::uint64_t moves) {
    pending.settle(moves, [&](int event) { happened += std::to_string(event); });
  };
  pending.add(2, 1);
  pending.add(2, 2);
  pending.add(3, 3);
  settle(1);
  CHECK(happened.empty());
  settle(2);
  CHECK(happened == "12");
  CHECK_FALSE(pending.empty());
  settle(9);
  CHECK(happened == "123");
  CHECK(pending.empty());
}
