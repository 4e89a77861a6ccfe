#include "rules/load.h"
#include "rules_test_help.h"

#include <xxhash.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <map>
#include <random>
#include <set>

#include "rules/recogniser.h"

using namespace forewarm;
using namespace forewarm::test;
using rules::Rules;
using Action = rules::Step::Action;

namespace {

const std::string kVersion = "version = 1\n";
const std::string kToolhead = R"([[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";
const std::string kMinimal = kVersion + kToolhead;

std::string file(const std::string& path) {
  std::ifstream in(std::string(FOREWARM_SOURCE_DIR) + '/' + path, std::ios::binary);
  REQUIRE(in);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string repeated(const std::string& text, int times) {
  std::string out;
  for (int i = 0; i < times; ++i) out += text;
  return out;
}

// The sample of the design, as it stands there.
const std::string kSample = R"toml(version = 1

[machine]
name = "three-head bench machine"
ambient_c = 23
travel_mm = { x = [0, 320], y = [0, 300], z = [0, 260] }   # inserted moves stay inside
heating_limit_w = 120            # optional: heaters at full drive together draw no more than this

[motion]                          # in force until the job sets its own (M201 M203 M204 M205 M220)
max_speed_mm_s  = { x = 350, y = 350, z = 15, e = 70 }
max_accel_mm_s2 = { x = 6000, y = 6000, z = 250, e = 5000 }
accel_mm_s2 = 3000
jerk_mm_s = { x = 8, y = 8, z = 0.4, e = 5 }   # or: junction_deviation_mm = 0.02
time_scale = 1.0                  # measured / modelled print time

[[toolhead]]
name = "birch"
tools = [1, 2, 3, 4, 5]           # T numbers it serves; more than one: a feeder exchanges its filament
heater = { index = 1, power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 2, max_c = 290 }
park_s = 6.5
pick_s = 7
exchange_s = 33
before_park = "tuck"              # step sequences, below
after_pick = "untuck"

[[filament]]
tool = 3
name = "moss green"
material = "PLA"                  # takes what it does not set from [material.PLA]
before_exchange = "shape-tip"
after_exchange = "charge"

[material.PLA]
standby_c = 170
density_g_cm3 = 1.24
diameter_mm = 1.75
max_hot_idle_s = 900              # a parked heater may be hot this long in one gap, no longer

[gap]
policy = "lookahead"              # or "timers", "hold", "as-sliced"
hold_drop_c = 8                   # a gap in which the heater could dip by less than this is held
off_over_s = 1500                 # a gap longer than this is shut down at its start
timer_standby_s = 0               # policy "timers": what a firmware's own timers would do
timer_off_s = 900
lead_stretch = 0.10               # heat-up time is taken this much longer…
lead_extra_s = 4                  # …and this many seconds more

[steps]                           # one action a step; durations come from them
tuck      = [ { feed_mm = -12, speed_mm_s = 35 }, { lift_mm = 0.8 } ]
untuck    = [ { feed_mm = 12, speed_mm_s = 12 }, { back = true } ]
shape-tip = [ { feed_mm = 4, speed_mm_s = 14 }, { feed_mm = -22, speed_mm_s = 60 }, { dwell_s = 1.5 } ]
charge    = [ { move_mm = { x = 310, y = 20 } , speed_mm_s = 200 }, { feed_mm = 40, speed_mm_s = 4 }, { back = true } ]
# other actions: temp_c, temp_offset_c, wait = true, fan = 0.0..1.0, gcode = "…" (with seconds = …)

[dialect]                         # what is written; RepRap-convention M codes unless set
set  = "M104 T{tool} S{temp}"    # {tool}: the T number concerned (the next use's, else the last's); {heater}: the index above
wait = "M109 T{tool} S{temp}"
temperature_index = "tool"        # what T means on the job's own M104/M109: "tool" or "heater"
job_start = []                    # lines put where planning starts, e.g. to switch a firmware's own standby timers off
job_end = []                      # and after the last use

[[recognise]]                     # RE2 patterns for what a job says in its own way
match = '^CHANGE_TO\s+(?P<tool>\d+)'
as = "change"                     # also: "set", "wait" (groups heater/tool, temp), "purge-begin", "purge-end", "layer"

[[duration]]                      # commands that take time the job does not show
match = '^G28'
seconds = 22
)toml";

}  // namespace

// -------------------------------------------------------------------------------- what is accepted

TEST_CASE("the least a rule file can be has the documented defaults") {
  const Rules r = accepted(kMinimal);
  const Rules defaults;

  REQUIRE(r.toolheads.size() == 1);
  const auto& ash = r.toolheads[0];
  CHECK(ash.name == "ash");
  CHECK(ash.tools == std::vector<int>{0});
  CHECK(ash.heater_index == 0);
  CHECK(ash.hotend.power_w == 50);
  CHECK(ash.hotend.full_drive_c == 450);
  CHECK(ash.hotend.time_constant_s == 180);
  CHECK(ash.hotend.dead_time_s == 0);
  CHECK(ash.hotend.ambient_c == 23);
  CHECK(ash.max_c == 300);
  CHECK(ash.park_s == 7);
  CHECK(ash.pick_s == 7);
  CHECK(ash.exchange_s == 35);
  CHECK(ash.before_park.empty());
  CHECK(ash.after_pick.empty());

  CHECK(r.machine.name == "machine");
  CHECK(r.machine.travel_mm[0].low == -1e6);
  CHECK(r.machine.travel_mm[2].high == 1e6);
  CHECK_FALSE(r.machine.heating_limit_w);
  CHECK(r.motion.max_speed_mm_s == defaults.motion.max_speed_mm_s);
  CHECK(r.motion.jerk_mm_s == defaults.motion.jerk_mm_s);
  CHECK_FALSE(r.motion.junction_deviation_mm);
  CHECK(r.gap.policy == rules::Policy::lookahead);
  CHECK(r.gap.off_over_s == 1500);
  CHECK(r.dialect.set == "M104 T{tool} S{temp}");
  CHECK(r.dialect.wait == "M109 T{tool} S{temp}");
  CHECK_FALSE(r.dialect.temperature_index_is_heater);
  CHECK(r.filaments.empty());
  CHECK(r.materials.empty());
  CHECK(r.recognise.empty());
  CHECK(r.durations.empty());
  CHECK_FALSE(r.uses_steps);
  CHECK_FALSE(r.toolhead_per_tool_seen);
}

TEST_CASE("the design's sample loads, value for value") {
  const Rules r = accepted(kSample);

  CHECK(r.machine.name == "three-head bench machine");
  CHECK(r.machine.ambient_c == 23);
  CHECK(r.machine.travel_mm[0].low == 0);
  CHECK(r.machine.travel_mm[0].high == 320);
  CHECK(r.machine.travel_mm[1].high == 300);
  CHECK(r.machine.travel_mm[2].high == 260);
  CHECK(r.machine.heating_limit_w == 120.0);

  CHECK(r.motion.max_speed_mm_s == rules::Axes{350, 350, 15, 70});
  CHECK(r.motion.max_accel_mm_s2 == rules::Axes{6000, 6000, 250, 5000});
  CHECK(r.motion.accel_mm_s2 == 3000);
  CHECK(r.motion.jerk_mm_s == rules::Axes{8, 8, 0.4, 5});
  CHECK(r.motion.time_scale == 1.0);

  REQUIRE(r.toolheads.size() == 1);
  const auto& birch = r.toolheads[0];
  CHECK(birch.name == "birch");
  CHECK(birch.tools == std::vector<int>{1, 2, 3, 4, 5});
  CHECK(birch.heater_index == 1);
  CHECK(birch.hotend.power_w == 50);
  CHECK(birch.hotend.full_drive_c == 450);
  CHECK(birch.hotend.time_constant_s == 180);
  CHECK(birch.hotend.dead_time_s == 2);
  CHECK(birch.max_c == 290);
  CHECK(birch.park_s == 6.5);
  CHECK(birch.pick_s == 7);
  CHECK(birch.exchange_s == 33);
  CHECK(birch.before_park == "tuck");
  CHECK(birch.after_pick == "untuck");

  REQUIRE(r.filaments.size() == 1);
  const auto moss = r.filament(3);
  CHECK(moss.name == "moss green");
  CHECK(moss.material == "PLA");
  CHECK(moss.standby_c == 170);
  CHECK(moss.density_g_cm3 == 1.24);
  CHECK(moss.diameter_mm == 1.75);
  CHECK(moss.max_hot_idle_s == 900);
  CHECK(moss.before_exchange == "shape-tip");
  CHECK(moss.after_exchange == "charge");
  REQUIRE(r.materials.size() == 1);
  CHECK(r.materials[0].material == "PLA");

  CHECK(r.gap.policy == rules::Policy::lookahead);
  CHECK(r.gap.hold_drop_c == 8);
  CHECK(r.gap.off_over_s == 1500);
  CHECK(r.gap.timer_standby_s == 0);
  CHECK(r.gap.timer_off_s == 900);
  CHECK_FALSE(r.gap.off_over_best);
  CHECK(r.gap.lead_stretch == 0.10);
  CHECK(r.gap.lead_extra_s == 4.0);
  CHECK(r.gap.on_time == 0.99);

  std::map<std::string, std::vector<rules::Step>> steps;
  for (const auto& s : r.steps) steps[s.name] = s.steps;
  REQUIRE(steps.size() == 4);
  REQUIRE(steps["tuck"].size() == 2);
  CHECK(steps["tuck"][0].action == Action::feed);
  CHECK(steps["tuck"][0].amount == -12);
  CHECK(steps["tuck"][0].speed_mm_s == 35.0);
  CHECK(steps["tuck"][1].action == Action::lift);
  CHECK(steps["tuck"][1].amount == 0.8);
  CHECK_FALSE(steps["tuck"][1].speed_mm_s);
  REQUIRE(steps["untuck"].size() == 2);
  CHECK(steps["untuck"][1].action == Action::back);
  REQUIRE(steps["shape-tip"].size() == 3);
  CHECK(steps["shape-tip"][2].action == Action::dwell);
  CHECK(steps["shape-tip"][2].amount == 1.5);
  REQUIRE(steps["charge"].size() == 3);
  CHECK(steps["charge"][0].action == Action::move);
  CHECK(steps["charge"][0].move_mm[0] == 310.0);
  CHECK(steps["charge"][0].move_mm[1] == 20.0);
  CHECK_FALSE(steps["charge"][0].move_mm[2]);
  CHECK(steps["charge"][0].speed_mm_s == 200.0);
  CHECK(r.uses_steps);

  CHECK(r.dialect.set == "M104 T{tool} S{temp}");
  CHECK(r.dialect.job_start.empty());
  REQUIRE(r.recognise.size() == 1);
  CHECK(r.recognise[0].match == R"(^CHANGE_TO\s+(?P<tool>\d+))");
  CHECK(r.recognise[0].as == rules::Recognise::As::change);
  REQUIRE(r.durations.size() == 1);
  CHECK(r.durations[0].match == "^G28");
  CHECK(r.durations[0].seconds == 22);
}

TEST_CASE(
    "the built-in rule file loads, is embedded byte for byte, and takes toolheads from the job") {
  CHECK(rules::built_in_text() == file("config/default.toml"));
  const Rules r = accepted(std::string(rules::built_in_text()));
  CHECK(r.toolhead_per_tool_seen);
  CHECK(r.toolheads.size() == 1);
  CHECK(r.toolheads[0].tools.empty());
  CHECK_FALSE(r.uses_steps);
  CHECK(r.recognise.empty());
}

TEST_CASE("odds of faults, and the purge area") {
  const std::string heads =
      "[[toolhead]]\nname = \"ash\"\ntools = [0]\nheater = { power_w = 50, full_drive_c = 450, "
      "time_constant_s = 180 }\n";
  const auto with = [&](const std::string& more) {
    return rules::load("version = 1\n" + heads + more, "rules.toml");
  };
  CHECK_FALSE(with("")->feeder.fault_odds);
  CHECK_FALSE(with("")->toolheads[0].fault_odds);
  CHECK_FALSE(with("")->machine.purge_area_mm);
  CHECK(with("fault_odds = 1")->toolheads[0].fault_odds == 1);
  CHECK(with("[feeder]\nfault_odds = 0")->feeder.fault_odds == 0);
  CHECK(with("[feeder]\nfault_odds = 0.0125")->feeder.fault_odds == 0.0125);
  CHECK_FALSE(with("[feeder]")->feeder.fault_odds);
  // Not given is another thing than 0.
  for (const char* none : {"", "[feeder]"}) CHECK_FALSE(with(none)->gives_odds());
  for (const char* some : {"fault_odds = 0", "fault_odds = 1", "[feeder]\nfault_odds = 0"}) {
    CAPTURE(some);
    CHECK(with(some)->gives_odds());
  }
  const auto area = with("[machine]\npurge_area_mm = { x = [300, 320], y = [0.5, 30] }");
  REQUIRE(area);
  REQUIRE(area->machine.purge_area_mm);
  CHECK((*area->machine.purge_area_mm)[0].low == 300);
  CHECK((*area->machine.purge_area_mm)[1].low == 0.5);
  CHECK((*area->machine.purge_area_mm)[1].high == 30);

  struct Case {
    const char *more, *says;
  };
  for (const Case& c : {
           Case{"fault_odds = 1.01", "fault_odds must be from 0 to 1, not 1.01"},
           Case{"fault_odds = -0.1", "fault_odds must be from 0 to 1, not -0.1"},
           Case{"[feeder]\nfault_odds = 2", "fault_odds must be from 0 to 1, not 2"},
           Case{"[feeder]\nfault_odds = nan", "fault_odds must be a finite number, not nan"},
           Case{"[feeder]\nfault_odds = \"low\"", "fault_odds must be a number, not a string"},
           Case{"[feeder]\nodds = 0.1", "unknown key \"odds\" in [feeder]"},
           Case{"[[feeder]]\nfault_odds = 0.1", "feeder must be a table, not an array of tables"},
           Case{"[machine]\npurge_area_mm = { x = [0, 1] }", "purge_area_mm needs \"y\""},
           Case{"[machine]\npurge_area_mm = {}", "purge_area_mm needs \"x\""},
           Case{"[machine]\npurge_area_mm = { x = [0, 1], y = [2, 2] }",
                "y must go from lower to higher, not 2 to 2"},
           Case{"[machine]\npurge_area_mm = { x = [0, 1], y = [0, 1], z = [0, 1] }",
                "unknown key \"z\" in purge_area_mm"},
       }) {
    CAPTURE(c.more);
    const auto rules = with(c.more);
    REQUIRE_FALSE(rules);
    CHECK(rules.error().message == c.says);
  }
}

TEST_CASE("the demo rule file loads") {
  const Rules r = accepted(file("config/demo.toml"));
  REQUIRE(r.toolheads.size() == 3);
  CHECK(r.toolhead_of(0) == 0U);
  CHECK(r.toolhead_of(5) == 1U);
  CHECK(r.toolhead_of(6) == 2U);
  CHECK_FALSE(r.toolhead_of(7));
  CHECK(r.toolheads[2].heater_index == 2);
  REQUIRE(r.filaments.size() == 7);
  CHECK(r.filament(1).standby_c == 170);     // its material's
  CHECK(r.filament(3).standby_c == 165);     // its own
  CHECK(r.filament(4).diameter_mm == 1.75);  // the default
  CHECK(r.filament(6).before_exchange.empty());
  CHECK(r.filament(6).exchange_c == 245.0);
  CHECK(r.toolheads[1].max_flow_mm3_s == 18.0);
  CHECK(rules::at_last_use(r.toolheads[0], r.filament(0)) == "withdraw");
  CHECK(rules::at_last_use(r.toolheads[1], r.filament(3)) == "shape-tip");  // its toolhead's
  CHECK(rules::at_last_use(r.toolheads[1], r.filament(4)) == "withdraw");   // its material's
  CHECK(rules::at_last_use(r.toolheads[2], r.filament(6)).empty());
  CHECK(r.uses_steps);
  CHECK(r.recognise.size() == 6);
}

TEST_CASE("the demo rule file has every key there is") {
  // Each key is one that the loader knows; each the loader knows is asked for here.
  const std::string demo = file("config/demo.toml");
  for (const char* key : {"version",
                          "name",
                          "ambient_c",
                          "travel_mm",
                          "purge_area_mm",
                          "heating_limit_w",
                          "bed_w",
                          "max_speed_mm_s",
                          "max_accel_mm_s2",
                          "accel_mm_s2",
                          "jerk_mm_s",
                          "junction_deviation_mm",
                          "time_scale",
                          "tools",
                          "heater",
                          "index",
                          "power_w",
                          "full_drive_c",
                          "time_constant_s",
                          "dead_time_s",
                          "max_c",
                          "park_s",
                          "pick_s",
                          "exchange_s",
                          "exchange_purge_mm3",
                          "fault_odds",
                          "before_park",
                          "after_pick",
                          "at_last_use",
                          "max_flow_mm3_s",
                          "tool",
                          "material",
                          "standby_c",
                          "density_g_cm3",
                          "diameter_mm",
                          "max_hot_idle_s",
                          "before_exchange",
                          "after_exchange",
                          "exchange_c",
                          "only",
                          "never",
                          "fixed",
                          "policy",
                          "hold_drop_c",
                          "off_over_s",
                          "hot_idle_cost_per_h",
                          "energy_cost_per_kwh",
                          "restart_cost",
                          "timer_standby_s",
                          "timer_off_s",
                          "on_time",
                          "time_error",
                          "heater_error",
                          "exchange_spread_s",
                          "park_spread_s",
                          "lead_stretch",
                          "lead_extra_s",
                          "feed_mm",
                          "lift_mm",
                          "back",
                          "dwell_s",
                          "move_mm",
                          "temp_c",
                          "temp_offset_c",
                          "wait",
                          "fan",
                          "gcode",
                          "speed_mm_s",
                          "seconds",
                          "set",
                          "temperature_index",
                          "job_start",
                          "job_end",
                          "match",
                          "as"}) {
    INFO(key);
    CHECK((demo.find(std::string(key) + " = ") != std::string::npos ||
           demo.find('.' + std::string(key) + ']') != std::string::npos));
  }
}

TEST_CASE(
    "an integer will do where a float is meant, and the same table may be written in any way") {
  CHECK(accepted(kMinimal + "park_s = 8\npick_s = 8.5\n").toolheads[0].pick_s == 8.5);
  CHECK(accepted(kVersion + R"([[toolhead]]
name = "ash"
tools = [4, 2]
heater.power_w = 50
heater.full_drive_c = 4.5e2
heater.time_constant_s = 180
)")
            .toolheads[0]
            .heater_index == 4);
  CHECK(accepted(kMinimal + "[[steps.tuck]]\nlift_mm = 1\n[[steps.tuck]]\nback = true\n")
            .steps.at(0)
            .steps.size() == 2);
  CHECK(accepted(kMinimal + "[[toolhead]]\nname = \"birch\"\ntools = [1]\n[toolhead.heater]\n"
                            "power_w = 1\nfull_drive_c = 300\ntime_constant_s = 1\n")
            .toolheads.size() == 2);
}

TEST_CASE("windows line ends, a byte order mark and no final line end are fine") {
  std::string crlf;
  for (const char c : kMinimal) crlf += c == '\n' ? "\r\n" : std::string(1, c);
  CHECK(accepted(crlf).toolheads.size() == 1);
  CHECK(accepted("\xef\xbb\xbf" + kMinimal).toolheads.size() == 1);
  CHECK(accepted(kMinimal.substr(0, kMinimal.size() - 1)).toolheads.size() == 1);
  CHECK(refusal(crlf + "park_s = -1\r\n") ==
        "rules.toml:6:10: park_s must be from 0 to 86400, not -1\n  park_s = -1\n           ^");
}

TEST_CASE("values at the very ends of their ranges are in them") {
  for (const char* text :
       {"park_s = 0\n", "park_s = 86400\n", "[machine]\nambient_c = -50\n",
        "[machine]\nheating_limit_w = 50\n", "[motion]\ntime_scale = 0.1\n",
        "[motion]\ntime_scale = 10\n", "[motion]\njerk_mm_s = { x = 0 }\n",
        "[gap]\nhold_drop_c = 0\n", "[gap]\noff_over_s = 0\n", "[gap]\nlead_stretch = 0\n",
        "[gap]\non_time = 0.5\n", "[gap]\ntime_error = 0.5\nheater_error = 0\n",
        "[machine]\nheating_limit_w = 70\nbed_w = 20\n", "[gap]\noff_over_s = \"best\"\n",
        "[[filament]]\ntool = 0\nmax_hot_idle_s = 0\n", "[[filament]]\ntool = 0\nstandby_c = 300\n",
        "[steps]\na = [ { fan = 0 }, { fan = 1 }, { dwell_s = 0 } ]\n", "[steps]\na = []\n",
        "[machine]\ntravel_mm = { x = [0, 320] }\n[steps]\na = [ { move_mm = { x = 320 } } ]\n"}) {
    accepted(kMinimal + text);
  }
}

TEST_CASE("a motion table may give some axes") {
  const auto m = accepted(kMinimal +
                          "[motion]\nmax_speed_mm_s = { z = 20 }\n"
                          "junction_deviation_mm = 0.05\n")
                     .motion;
  CHECK(m.max_speed_mm_s == rules::Axes{300, 300, 20, 60});
  CHECK(m.junction_deviation_mm == 0.05);
}

TEST_CASE("each step action") {
  const auto steps = accepted(kMinimal + R"([steps]
all = [
  { feed_mm = -3 }, { lift_mm = 1, speed_mm_s = 10 }, { back = true }, { dwell_s = 2 },
  { move_mm = { z = 5 } }, { temp_c = 180 }, { temp_offset_c = -15 }, { wait = true },
  { fan = 0.5 }, { gcode = "M400", seconds = 0.5 }, { gcode = "M17" },
]
)")
                         .steps.at(0)
                         .steps;
  REQUIRE(steps.size() == 11);
  const std::vector<Action> actions{Action::feed, Action::lift,  Action::back,        Action::dwell,
                                    Action::move, Action::temp,  Action::temp_offset, Action::wait,
                                    Action::fan,  Action::gcode, Action::gcode};
  for (std::size_t i = 0; i < steps.size(); ++i) CHECK(steps[i].action == actions[i]);
  CHECK(steps[0].amount == -3);
  CHECK(steps[1].speed_mm_s == 10.0);
  CHECK(steps[4].move_mm[2] == 5.0);
  CHECK(steps[6].amount == -15);
  CHECK(steps[8].amount == 0.5);
  CHECK(steps[9].gcode == "M400");
  CHECK(steps[9].seconds == 0.5);
  CHECK(steps[10].seconds == 0);
}

TEST_CASE("steps are used when something names them, not by being there") {
  const std::string steps = "[steps]\ntuck = []\n";
  CHECK_FALSE(accepted(kMinimal + steps).uses_steps);
  CHECK(accepted(kMinimal + "before_park = \"tuck\"\n" + steps).uses_steps);
  CHECK_FALSE(accepted(kMinimal + "before_park = \"\"\n" + steps).uses_steps);
  CHECK(accepted(kMinimal + "[material.PLA]\nafter_exchange = \"tuck\"\n" + steps).uses_steps);
  CHECK(accepted(kMinimal + "[[filament]]\ntool = 0\nafter_exchange = \"tuck\"\n" + steps)
            .uses_steps);
}

TEST_CASE("a filament's value is its own, else its material's, else the default") {
  const Rules r = accepted(kVersion + R"([[filament]]
tool = 0
material = "PETG"
density_g_cm3 = 1.3
after_exchange = ""
[material.PETG]
standby_c = 190
density_g_cm3 = 1.27
before_exchange = "tip"
after_exchange = "charge"
[steps]
tip = []
charge = []
)" + kToolhead);
  const auto f = r.filament(0);
  CHECK(f.name == "T0");
  CHECK(f.material == "PETG");
  CHECK(f.standby_c == 190);
  CHECK(f.density_g_cm3 == 1.3);
  CHECK(f.diameter_mm == 1.75);
  CHECK(f.before_exchange == "tip");
  CHECK(f.after_exchange.empty());

  const auto unknown = r.filament(12);
  CHECK(unknown.tool == 12);
  CHECK(unknown.name == "T12");
  CHECK(unknown.standby_c == 175);
}

TEST_CASE("a material need not be described where none is") {
  CHECK(accepted(kMinimal + "[[filament]]\ntool = 0\nmaterial = \"PLA\"\n").filament(0).material ==
        "PLA");
}

TEST_CASE("a material may be too hot for a toolhead that never gets it") {
  accepted(kMinimal + "[material.PEEK]\nstandby_c = 350\n");
  accepted(kMinimal +
           "[[filament]]\ntool = 0\nmaterial = \"PEEK\"\nstandby_c = 200\n"
           "[material.PEEK]\nstandby_c = 350\n");
}

TEST_CASE("with tools = \"seen\" any tool may have a filament") {
  const Rules r = accepted(kVersion + R"([[toolhead]]
name = "head"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 11
)");
  CHECK(r.toolhead_per_tool_seen);
  CHECK(r.filament(11).name == "T11");
}

TEST_CASE("each policy and each way of recognising has its word") {
  for (const auto policy : {rules::Policy::as_sliced, rules::Policy::timers, rules::Policy::hold,
                            rules::Policy::lookahead}) {
    const std::string word = rules::name_of(policy);
    CHECK(accepted(kMinimal + "[gap]\npolicy = \"" + word + "\"\n").gap.policy == policy);
  }
  using As = rules::Recognise::As;
  const std::string group = "(?P<tool>a)(?P<temp>b)";
  for (const auto& [word, as] : std::map<std::string, As>{{"change", As::change},
                                                          {"set", As::set},
                                                          {"wait", As::wait},
                                                          {"purge-begin", As::purge_begin},
                                                          {"purge-end", As::purge_end},
                                                          {"layer", As::layer}}) {
    const auto r =
        accepted(kMinimal + "[[recognise]]\nmatch = \"" + group + "\"\nas = \"" + word + "\"\n");
    CHECK(r.recognise.at(0).as == as);
  }
}

TEST_CASE("the dialect is taken as it is") {
  const auto d = accepted(kMinimal + R"([dialect]
set = "SET_HEATER H={heater} T={temp}"
wait = "AWAIT {heater} {tool} {temp}"
temperature_index = "heater"
job_start = [ "M86 S0", "; {any} braces" ]
job_end = [ "" ]
)")
                     .dialect;
  CHECK(d.set == "SET_HEATER H={heater} T={temp}");
  CHECK(d.wait == "AWAIT {heater} {tool} {temp}");
  CHECK(d.temperature_index_is_heater);
  CHECK(d.job_start == std::vector<std::string>{"M86 S0", "; {any} braces"});
  CHECK(d.job_end == std::vector<std::string>{""});
}

TEST_CASE("the hash is XXH3 of the bytes") {
  CHECK(accepted(kMinimal).hash == XXH3_64bits(kMinimal.data(), kMinimal.size()));
  CHECK(accepted(kMinimal).hash != accepted(kMinimal + "# a remark\n").hash);
}

// --------------------------------------------------------------------------------- what is refused

TEST_CASE("refused: TOML that is none is located") {
  check_all(
      "",
      {
          {R"(version = 
)",
           R"(rules.toml:1:11: Error while parsing key-value pair: expected value, saw '\n'
  version = 
            ^)"},
          {R"(version = 1
name = "open
)",
           R"(rules.toml:2:13: Error while parsing string: unescaped control characters other than TAB (U+0009) are explicitly prohibited
  name = "open
              ^)"},
          {R"(version = 1
version = 1
)",
           R"(rules.toml:2:11: Error while parsing key-value pair: cannot redefine existing integer 'version'
  version = 1
            ^)"},
          {R"([machine
name = "x"
)",
           R"(rules.toml:1:9: Error while parsing table header: expected ']', saw '\n'
  [machine
          ^)"},
          {R"([machine]
[machine]
)",
           R"(rules.toml:2:1: Error while parsing table header: cannot redefine existing table 'machine'
  [machine]
  ^)"},
          {R"(version = 1
name = "\q"
)",
           R"(rules.toml:2:10: Error while parsing string: unknown escape sequence '\q'
  name = "\q"
           ^)"},
          {R"(a = [1, 2
)",
           R"(rules.toml:1:11: Error while parsing array: encountered end-of-file
  a = [1, 2
           ^)"},
      });
}

TEST_CASE("refused: what is required, and the version") {
  check_all("", {
                    {R"()",
                     R"(rules.toml:1:1: the rule file needs "version"
  hint: start with: version = 1)"},
                    {R"(# nothing yet
)",
                     R"(rules.toml:1:1: the rule file needs "version"
  # nothing yet
  ^
  hint: start with: version = 1)"},
                    {R"(version = 1
)",
                     R"(rules.toml:1:1: the rule file needs "toolhead"
  version = 1
  ^
  hint: a rule file has at least one [[toolhead]])"},
                    {R"(version = 2
anything = "goes"
)",
                     R"(rules.toml:1:11: version must be 1, not 2
  version = 2
            ^)"},
                    {R"(version = "1"
)",
                     R"(rules.toml:1:11: version must be 1, not a string
  version = "1"
            ^)"},
                    {R"(version = 1.0
)",
                     R"(rules.toml:1:11: version must be 1, not a float
  version = 1.0
            ^)"},
                    {R"(version = -1
)",
                     R"(rules.toml:1:11: version must be 1, not -1
  version = -1
            ^)"},
                    {R"(verison = 1
[[toolhead]]
)",
                     R"(rules.toml:1:1: unknown key "verison" in the rule file
  verison = 1
  ^
  hint: did you mean "version"?)"},
                    {R"(version = 1
toolhead = []
)",
                     R"(rules.toml:2:12: a rule file has at least one [[toolhead]]
  toolhead = []
             ^)"},
                    {R"(version = 1
[toolhead]
name = "ash"
)",
                     R"(rules.toml:2:1: toolhead must be an array of tables, not a table
  [toolhead]
  ^
  hint: write [[toolhead]])"},
                    {R"(version = 1
toolhead = [1]
)",
                     R"(rules.toml:2:13: toolhead must hold tables, not an integer
  toolhead = [1]
              ^)"},
                });
}

TEST_CASE("refused: toolheads") {
  check_all(
      "",
      {
          {R"(version = 1
[[toolhead]]
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:2:1: [[toolhead]] needs "name"
  [[toolhead]]
  ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:2:1: [[toolhead]] needs "tools"
  [[toolhead]]
  ^
  hint: such as tools = [0], or tools = "seen")"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
)",
           R"(rules.toml:2:1: [[toolhead]] needs "heater"
  [[toolhead]]
  ^)"},
          {R"(version = 1
[[toolhead]]
name = ""
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:3:8: name must not be empty
  name = ""
         ^)"},
          {R"(version = 1
[[toolhead]]
name = 7
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:3:8: name must be a string, not an integer
  name = 7
         ^)"},
          {R"(version = 1
[[toolhead]]
name = "a\nM112"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:3:8: name must not contain line ends or other control characters
  name = "a\nM112"
         ^)"},
          {R"(version = 1
[[toolhead]]
name = "a ;fw+ b"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:3:8: name must not contain ";fw", which marks the lines that rewriting put in
  name = "a ;fw+ b"
         ^)"},
          {R"(version = 1
[[toolhead]]
name = "a\u0085b"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:3:8: name must not contain line ends or other control characters
  name = "a\u0085b"
         ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = []
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:9: tools must name at least one T number
  tools = []
          ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = 0
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:9: tools must be an array of T numbers or "seen", not an integer
  tools = 0
          ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = "all"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:9: tools must be an array of T numbers or "seen", not "all"
  tools = "all"
          ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, -1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:13: a tool must be from 0 to 65535, not -1
  tools = [0, -1]
              ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0.0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:10: a tool must be a whole number, not a float
  tools = [0.0]
           ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = ["T0"]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:10: a tool must be a whole number, not a string
  tools = ["T0"]
           ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, 70000]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:13: a tool must be from 0 to 65535, not 70000
  tools = [0, 70000]
              ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, 1, 0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:4:16: T0 is listed twice
  tools = [0, 1, 0]
                 ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = 1
)",
           R"(rules.toml:5:10: heater must be a table, not an integer
  heater = 1
           ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
[[toolhead.heater]]
power_w = 50
)",
           R"(rules.toml:5:1: heater must be a table, not an array of tables
  [[toolhead.heater]]
  ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:5:10: heater needs "power_w"
  heater = { full_drive_c = 450, time_constant_s = 180 }
           ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, time_constant_s = 180 }
)",
           R"(rules.toml:5:10: heater needs "full_drive_c"
  heater = { power_w = 50, time_constant_s = 180 }
           ^
  hint: where the heater would end up at full drive; measure it)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450 }
)",
           R"(rules.toml:5:10: heater needs "time_constant_s"
  heater = { power_w = 50, full_drive_c = 450 }
           ^
  hint: measure it: the seconds in which a parked heater loses 63 % of its heat above ambient)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_W = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:5:12: unknown key "power_W" in heater
  heater = { power_W = 50, full_drive_c = 450, time_constant_s = 180 }
             ^
  hint: did you mean "power_w"?)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 0, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:5:22: power_w must be more than 0 and at most 100000, not 0
  heater = { power_w = 0, full_drive_c = 450, time_constant_s = 180 }
                       ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = true, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:5:22: power_w must be a number, not a boolean
  heater = { power_w = true, full_drive_c = 450, time_constant_s = 180 }
                       ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = nan, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:5:22: power_w must be a finite number, not nan
  heater = { power_w = nan, full_drive_c = 450, time_constant_s = 180 }
                       ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = inf, time_constant_s = 180 }
)",
           R"(rules.toml:5:41: full_drive_c must be a finite number, not inf
  heater = { power_w = 50, full_drive_c = inf, time_constant_s = 180 }
                                          ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 20, time_constant_s = 180 }
)",
           R"(rules.toml:5:41: full_drive_c must be more than machine.ambient_c, which is 23, not 20
  heater = { power_w = 50, full_drive_c = 20, time_constant_s = 180 }
                                          ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = -1 }
)",
           R"(rules.toml:5:64: time_constant_s must be more than 0 and at most 1000000, not -1
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = -1 }
                                                                 ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, dead_time_s = -0.5 }
)",
           R"(rules.toml:5:81: dead_time_s must be from 0 to 3600, not -0.5
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, dead_time_s = -0.5 }
                                                                                  ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, max_c = 2900 }
)",
           R"(rules.toml:5:75: max_c must be from 0 to 1000, not 2900
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, max_c = 2900 }
                                                                            ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, max_c = 20 }
)",
           R"(rules.toml:5:75: max_c must be more than machine.ambient_c, which is 23, not 20
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, max_c = 20 }
                                                                            ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, index = -1 }
)",
           R"(rules.toml:5:75: index must be from 0 to 65535, not -1
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, index = -1 }
                                                                            ^)"},
          {R"(version = 1
[[toolhead]]
name = "ash"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, index = 1 }
)",
           R"(rules.toml:5:75: heater.index does not go with tools = "seen": it is the T number
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, index = 1 }
                                                                            ^)"},
      });
}

TEST_CASE("refused: toolheads beside the minimal one") {
  check_all(
      kVersion + kToolhead,
      {
          {R"(park_s = -1
)",
           R"(rules.toml:6:10: park_s must be from 0 to 86400, not -1
  park_s = -1
           ^)"},
          {R"(pick_s = "7"
)",
           R"(rules.toml:6:10: pick_s must be a number, not a string
  pick_s = "7"
           ^)"},
          {R"(exchange_s = 86401
)",
           R"(rules.toml:6:14: exchange_s must be from 0 to 86400, not 86401
  exchange_s = 86401
               ^)"},
          {R"(park_seconds = 7
)",
           R"(rules.toml:6:1: unknown key "park_seconds" in [[toolhead]]
  park_seconds = 7
  ^
  hint: did you mean "park_s"?)"},
          {R"(before_park = 1
)",
           R"(rules.toml:6:15: before_park must be a string, not an integer
  before_park = 1
                ^)"},
          {R"([[toolhead]]
name = "ash"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:7:8: there is a toolhead "ash" already
  name = "ash"
         ^)"},
          {R"([[toolhead]]
name = "birch"
tools = [1, 0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:8:13: T0 is served by both "ash" and "birch"
  tools = [1, 0]
              ^)"},
          {R"([[toolhead]]
name = "birch"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:8:9: tools = "seen" stands for every toolhead
  tools = "seen"
          ^
  hint: keep one [[toolhead]], or give each its T numbers)"},
          {R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 0, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:9:20: heater 0 is that of both "ash" and "birch"
  heater = { index = 0, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
                     ^)"},
          {R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [3]
heater = { index = 1, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:13:20: heater 1 is that of both "birch" and "cedar"
  heater = { index = 1, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
                     ^)"},
          {R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 5, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [5]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
           R"(rules.toml:12:9: heater 5 is that of both "birch" and "cedar"
  tools = [5]
          ^
  hint: heater.index is the first of tools unless it is given)"},
          {R"([machine]
heating_limit_w = 60
bed_w = 20
)",
           R"(rules.toml:5:22: power_w = 50 of "ash" and bed_w = 20 are more than machine.heating_limit_w, which is 60
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
                       ^)"},
          {R"([machine]
heating_limit_w = 40
)",
           R"(rules.toml:5:22: power_w = 50 of "ash" alone is more than machine.heating_limit_w, which is 40
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
                       ^)"},
      });
}

TEST_CASE("refused: unknown keys, at every level") {
  check_all(
      kVersion + kToolhead,
      {
          {R"(tool = 1
)",
           R"(rules.toml:6:1: unknown key "tool" in [[toolhead]]
  tool = 1
  ^
  hint: did you mean "tools"?)"},
          {R"(colour = 1
)",
           R"(rules.toml:6:1: unknown key "colour" in [[toolhead]]
  colour = 1
  ^
  hint: did you mean "tools"?)"},
          {R"([machin]
)",
           R"(rules.toml:6:2: unknown key "machin" in the rule file
  [machin]
   ^
  hint: did you mean "machine"?)"},
          {R"([machine]
ambient = 1
)",
           R"(rules.toml:7:1: unknown key "ambient" in [machine]
  ambient = 1
  ^
  hint: did you mean "ambient_c"?)"},
          {R"([machine]
travel_mm = { x = [0, 1], a = [0, 1] }
)",
           R"(rules.toml:7:27: unknown key "a" in travel_mm
  travel_mm = { x = [0, 1], a = [0, 1] }
                            ^
  hint: known here: x, y, z)"},
          {R"([motion]
max_speed = { x = 1 }
)",
           R"(rules.toml:7:1: unknown key "max_speed" in [motion]
  max_speed = { x = 1 }
  ^
  hint: did you mean "max_speed_mm_s"?)"},
          {R"([motion]
max_speed_mm_s = { u = 1 }
)",
           R"(rules.toml:7:20: unknown key "u" in max_speed_mm_s
  max_speed_mm_s = { u = 1 }
                     ^
  hint: known here: x, y, z, e)"},
          {R"([[filament]]
tool = 0
standby = 170
)",
           R"(rules.toml:8:1: unknown key "standby" in [[filament]]
  standby = 170
  ^
  hint: did you mean "standby_c"?)"},
          {R"([[filament]]
tol = 0
)",
           R"(rules.toml:7:1: unknown key "tol" in [[filament]]
  tol = 0
  ^
  hint: did you mean "tool"?)"},
          {R"([material.PLA]
name = "x"
)",
           R"(rules.toml:7:1: unknown key "name" in [material.PLA]
  name = "x"
  ^
  hint: known here: standby_c, density_g_cm3, diameter_mm, max_hot_idle_s, exchange_c, before_exchange, after_exchange, at_last_use)"},
          {R"([materials.PLA]
standby_c = 170
)",
           R"(rules.toml:6:2: unknown key "materials" in the rule file
  [materials.PLA]
   ^
  hint: did you mean "material"?)"},
          {R"([gap]
polcy = "hold"
)",
           R"(rules.toml:7:1: unknown key "polcy" in [gap]
  polcy = "hold"
  ^
  hint: did you mean "policy"?)"},
          {R"([dialect]
temperatureindex = "tool"
)",
           R"(rules.toml:7:1: unknown key "temperatureindex" in [dialect]
  temperatureindex = "tool"
  ^
  hint: did you mean "temperature_index"?)"},
          {R"([[recognize]]
match = "x"
)",
           R"(rules.toml:6:3: unknown key "recognize" in the rule file
  [[recognize]]
    ^
  hint: did you mean "recognise"?)"},
          {R"([[recognise]]
matsch = "x"
as = "layer"
)",
           R"(rules.toml:7:1: unknown key "matsch" in [[recognise]]
  matsch = "x"
  ^
  hint: did you mean "match"?)"},
          {R"([[duration]]
match = "x"
second = 1
)",
           R"(rules.toml:8:1: unknown key "second" in [[duration]]
  second = 1
  ^
  hint: did you mean "seconds"?)"},
          {R"([steps]
a = [ { dwel_s = 1 } ]
)",
           R"(rules.toml:7:9: unknown key "dwel_s" in a step
  a = [ { dwel_s = 1 } ]
          ^
  hint: did you mean "dwell_s"?)"},
          {R"([steps]
a = [ { move_mm = { e = 1 } } ]
)",
           R"(rules.toml:7:21: unknown key "e" in move_mm
  a = [ { move_mm = { e = 1 } } ]
                      ^
  hint: known here: x, y, z)"},
          {R"("\u0007bell" = 1
)",
           R"(rules.toml:6:1: unknown key "?bell" in [[toolhead]]
  "\u0007bell" = 1
  ^
  hint: known here: name, tools, heater, park_s, pick_s, exchange_s, exchange_purge_mm3, fault_odds, max_flow_mm3_s, before_park, after_pick, at_last_use)"},
          {R"(heater.idx = 1
)",
           R"(rules.toml:6:1: Error while parsing key-value pair: cannot redefine existing table as dotted key-value pair
  heater.idx = 1
  ^)"},
      });
}

TEST_CASE("refused: values where sections are meant") {
  check_all(kVersion,
            {
                {R"(machine = 1
)",
                 R"(rules.toml:2:11: machine must be a table, not an integer
  machine = 1
            ^)"},
                {R"(gap = "hold"
)",
                 R"(rules.toml:2:7: gap must be a table, not a string
  gap = "hold"
        ^)"},
                {R"(steps = []
)",
                 R"(rules.toml:2:9: steps must be a table, not an array
  steps = []
          ^)"},
                {R"(material = "PLA"
)",
                 R"(rules.toml:2:12: material must be a table, not a string
  material = "PLA"
             ^)"},
                {R"(recognise = "x"
)",
                 R"(rules.toml:2:13: recognise must be an array of tables, not a string
  recognise = "x"
              ^)"},
                {R"(filament = [3]
)",
                 R"(rules.toml:2:13: filament must hold tables, not an integer
  filament = [3]
              ^)"},
                {R"(dialect = true
)",
                 R"(rules.toml:2:11: dialect must be a table, not a boolean
  dialect = true
            ^)"},
                {R"(motion = 07:32:00
)",
                 R"(rules.toml:2:10: motion must be a table, not a time
  motion = 07:32:00
           ^)"},
                {R"(duration = 1.5
)",
                 R"(rules.toml:2:12: duration must be an array of tables, not a float
  duration = 1.5
             ^)"},
            },
            kToolhead);
}

TEST_CASE("refused: machine and motion") {
  check_all(kVersion + kToolhead,
            {
                {R"([[machine]]
)",
                 R"(rules.toml:6:1: machine must be a table, not an array of tables
  [[machine]]
  ^)"},
                {R"([machine]
name = ""
)",
                 R"(rules.toml:7:8: name must not be empty
  name = ""
         ^)"},
                {R"([machine]
ambient_c = 101
)",
                 R"(rules.toml:7:13: ambient_c must be from -50 to 100, not 101
  ambient_c = 101
              ^)"},
                {R"([machine]
heating_limit_w = 0
)",
                 R"(rules.toml:7:19: heating_limit_w must be more than 0, not 0
  heating_limit_w = 0
                    ^)"},
                {R"([machine]
travel_mm = [0, 1]
)",
                 R"(rules.toml:7:13: travel_mm must be a table, not an array
  travel_mm = [0, 1]
              ^)"},
                {R"([machine]
travel_mm = { x = 320 }
)",
                 R"(rules.toml:7:19: x must be an array of two numbers, lowest and highest
  travel_mm = { x = 320 }
                    ^)"},
                {R"([machine]
travel_mm = { x = [0, 1, 2] }
)",
                 R"(rules.toml:7:19: x must be an array of two numbers, lowest and highest
  travel_mm = { x = [0, 1, 2] }
                    ^)"},
                {R"([machine]
travel_mm = { x = [320, 0] }
)",
                 R"(rules.toml:7:19: x must go from lower to higher, not 320 to 0
  travel_mm = { x = [320, 0] }
                    ^)"},
                {R"([machine]
travel_mm = { x = [5, 5] }
)",
                 R"(rules.toml:7:19: x must go from lower to higher, not 5 to 5
  travel_mm = { x = [5, 5] }
                    ^)"},
                {R"([machine]
travel_mm = { x = [0, "320"] }
)",
                 R"(rules.toml:7:23: x must be a number, not a string
  travel_mm = { x = [0, "320"] }
                        ^)"},
                {R"([machine]
travel_mm = { x = [-inf, 1] }
)",
                 R"(rules.toml:7:20: x must be a finite number, not -inf
  travel_mm = { x = [-inf, 1] }
                     ^)"},
                {R"([motion]
max_speed_mm_s = 300
)",
                 R"(rules.toml:7:18: max_speed_mm_s must be a table, not an integer
  max_speed_mm_s = 300
                   ^)"},
                {R"([motion]
max_speed_mm_s = { x = 0 }
)",
                 R"(rules.toml:7:24: x must be more than 0 and at most 100000, not 0
  max_speed_mm_s = { x = 0 }
                         ^)"},
                {R"([motion]
max_accel_mm_s2 = { e = -5 }
)",
                 R"(rules.toml:7:25: e must be more than 0 and at most 10000000, not -5
  max_accel_mm_s2 = { e = -5 }
                          ^)"},
                {R"([motion]
accel_mm_s2 = 0
)",
                 R"(rules.toml:7:15: accel_mm_s2 must be more than 0 and at most 10000000, not 0
  accel_mm_s2 = 0
                ^)"},
                {R"([motion]
jerk_mm_s = { z = -0.1 }
)",
                 R"(rules.toml:7:19: z must be from 0 to 100000, not -0.1
  jerk_mm_s = { z = -0.1 }
                    ^)"},
                {R"([motion]
junction_deviation_mm = 0
)",
                 R"(rules.toml:7:25: junction_deviation_mm must be more than 0 and at most 10, not 0
  junction_deviation_mm = 0
                          ^)"},
                {R"([motion]
jerk_mm_s = { x = 8 }
junction_deviation_mm = 0.02
)",
                 R"(rules.toml:8:1: jerk_mm_s and junction_deviation_mm exclude each other
  junction_deviation_mm = 0.02
  ^
  hint: keep the one that the machine's firmware uses)"},
                {R"([motion]
junction_deviation_mm = 0.02
jerk_mm_s = { x = 8 }
)",
                 R"(rules.toml:8:1: jerk_mm_s and junction_deviation_mm exclude each other
  jerk_mm_s = { x = 8 }
  ^
  hint: keep the one that the machine's firmware uses)"},
                {R"([motion]
time_scale = 0.05
)",
                 R"(rules.toml:7:14: time_scale must be from 0.1 to 10, not 0.05
  time_scale = 0.05
               ^)"},
                {R"([motion]
time_scale = 11
)",
                 R"(rules.toml:7:14: time_scale must be from 0.1 to 10, not 11
  time_scale = 11
               ^)"},
                {R"([motion]
time_scale = 2020-01-01
)",
                 R"(rules.toml:7:14: time_scale must be a number, not a date
  time_scale = 2020-01-01
               ^)"},
            });
}

TEST_CASE("refused: filaments and materials") {
  check_all(
      kVersion + kToolhead,
      {
          {R"([[filament]]
name = "granite"
)",
           R"(rules.toml:6:1: [[filament]] needs "tool"
  [[filament]]
  ^)"},
          {R"([[filament]]
tool = 9
)",
           R"(rules.toml:7:8: no toolhead serves T9
  tool = 9
         ^
  hint: served are T0)"},
          {R"([[filament]]
tool = -1
)",
           R"(rules.toml:7:8: tool must be from 0 to 65535, not -1
  tool = -1
         ^)"},
          {R"([[filament]]
tool = 0
[[filament]]
tool = 0
)",
           R"(rules.toml:9:8: there is a filament for T0 already
  tool = 0
         ^)"},
          {R"([[filament]]
tool = 0
name = ""
)",
           R"(rules.toml:8:8: name must not be empty
  name = ""
         ^)"},
          {R"([[filament]]
tool = 0
material = ""
)",
           R"(rules.toml:8:12: material must not be empty
  material = ""
             ^)"},
          {R"([[filament]]
tool = 0
material = "PLAA"
[material.PLA]
[material.PETG]
)",
           R"(rules.toml:8:12: there is no [material.PLAA]
  material = "PLAA"
             ^
  hint: did you mean "PLA"?)"},
          {R"([[filament]]
tool = 0
material = "something else"
[material.PLA]
[material.PETG]
)",
           R"(rules.toml:8:12: there is no [material.something else]
  material = "something else"
             ^
  hint: known here: PETG, PLA)"},
          {R"([[filament]]
tool = 0
density_g_cm3 = 0
)",
           R"(rules.toml:8:17: density_g_cm3 must be more than 0 and at most 100, not 0
  density_g_cm3 = 0
                  ^)"},
          {R"([[filament]]
tool = 0
diameter_mm = -1.75
)",
           R"(rules.toml:8:15: diameter_mm must be more than 0 and at most 100, not -1.75
  diameter_mm = -1.75
                ^)"},
          {R"([[filament]]
tool = 0
max_hot_idle_s = -1
)",
           R"(rules.toml:8:18: max_hot_idle_s must be at least 0, not -1
  max_hot_idle_s = -1
                   ^)"},
          {R"([[filament]]
tool = 0
standby_c = 301
)",
           R"(rules.toml:8:13: standby_c = 301 is above max_c of "ash", which is 300
  standby_c = 301
              ^)"},
          {R"([[filament]]
tool = 0
material = "PEEK"
[material.PEEK]
standby_c = 350
)",
           R"(rules.toml:8:12: standby_c = 350 is above max_c of "ash", which is 300
  material = "PEEK"
             ^)"},
          {R"([filament]
tool = 0
)",
           R"(rules.toml:6:1: filament must be an array of tables, not a table
  [filament]
  ^
  hint: write [[filament]])"},
          {R"([material]
PLA = 1
)",
           R"(rules.toml:7:7: material must hold tables, not an integer
  PLA = 1
        ^
  hint: write [material.NAME], then its values)"},
          {R"([[material]]
name = "PLA"
)",
           R"(rules.toml:6:1: material must be a table, not an array of tables
  [[material]]
  ^)"},
          {R"([material.PLA]
standby_c = 1001
)",
           R"(rules.toml:7:13: standby_c must be from 0 to 1000, not 1001
  standby_c = 1001
              ^)"},
          {R"([material."a\tb"]
)",
           R"(rules.toml:6:11: the name of a material must not contain line ends or other control characters
  [material."a\tb"]
            ^)"},
          {R"([material.""]
)",
           R"(rules.toml:6:11: a material must have a name
  [material.""]
            ^)"},
      });
}

TEST_CASE("refused: gap") {
  check_all(kVersion + kToolhead,
            {
                {R"([gap]
policy = "lookahed"
)",
                 R"(rules.toml:7:10: unknown policy "lookahed"
  policy = "lookahed"
           ^
  hint: did you mean "lookahead"?)"},
                {R"([gap]
policy = "as_sliced"
)",
                 R"(rules.toml:7:10: unknown policy "as_sliced"
  policy = "as_sliced"
           ^
  hint: did you mean "as-sliced"?)"},
                {R"([gap]
policy = 1
)",
                 R"(rules.toml:7:10: policy must be a string, not an integer
  policy = 1
           ^)"},
                {R"([gap]
hold_drop_c = -1
)",
                 R"(rules.toml:7:15: hold_drop_c must be from 0 to 1000, not -1
  hold_drop_c = -1
                ^)"},
                {R"([gap]
off_over_s = inf
)",
                 R"(rules.toml:7:14: off_over_s must be a finite number, not inf
  off_over_s = inf
               ^)"},
                {R"([gap]
off_over_s = "bset"
)",
                 R"(rules.toml:7:14: off_over_s must be a number or "best", not "bset"
  off_over_s = "bset"
               ^)"},
                {R"([gap]
on_time = "best"
)",
                 R"(rules.toml:7:11: on_time must be a number, not a string
  on_time = "best"
            ^)"},
                {R"([gap]
on_time = 1
)",
                 R"(rules.toml:7:11: on_time must be from 0.5 to 0.999999, not 1
  on_time = 1
            ^)"},
                {R"([gap]
restart_cost = -1
)",
                 R"(rules.toml:7:16: restart_cost must be at least 0, not -1
  restart_cost = -1
                 ^)"},
                {R"([gap]
off_over_s = true
)",
                 R"(rules.toml:7:14: off_over_s must be a number, not a boolean
  off_over_s = true
               ^)"},
                {R"([gap]
timer_off_s = -900
)",
                 R"(rules.toml:7:15: timer_off_s must be at least 0, not -900
  timer_off_s = -900
                ^)"},
                {R"([gap]
lead_stretch = -0.1
)",
                 R"(rules.toml:7:16: lead_stretch must be from 0 to 100, not -0.1
  lead_stretch = -0.1
                 ^)"},
                {R"([gap]
lead_extra_s = nan
)",
                 R"(rules.toml:7:16: lead_extra_s must be a finite number, not nan
  lead_extra_s = nan
                 ^)"},
            });
}

TEST_CASE("refused: steps") {
  check_all(
      kVersion + kToolhead,
      {
          {R"([steps]
a = { dwell_s = 1 }
)",
           R"(rules.toml:7:5: "a" must be an array of steps, not a table
  a = { dwell_s = 1 }
      ^
  hint: such as [ { dwell_s = 1.5 } ])"},
          {R"([steps]
a = [ "G1" ]
)",
           R"(rules.toml:7:7: a step must be a table, not a string
  a = [ "G1" ]
        ^
  hint: such as { dwell_s = 1.5 })"},
          {R"([steps]
a = [ {} ]
)",
           R"(rules.toml:7:7: a step needs "feed_mm"
  a = [ {} ]
        ^
  hint: or another action; a step has exactly one)"},
          {R"([steps]
a = [ { speed_mm_s = 3 } ]
)",
           R"(rules.toml:7:7: a step needs "feed_mm"
  a = [ { speed_mm_s = 3 } ]
        ^
  hint: or another action; a step has exactly one)"},
          {R"([steps]
a = [ { feed_mm = 1, lift_mm = 1 } ]
)",
           R"(rules.toml:7:22: a step has one action; this one has feed_mm already
  a = [ { feed_mm = 1, lift_mm = 1 } ]
                       ^
  hint: make lift_mm a step of its own)"},
          {R"([steps]
a = [ { lift_mm = 1, feed_mm = 1 } ]
)",
           R"(rules.toml:7:22: a step has one action; this one has lift_mm already
  a = [ { lift_mm = 1, feed_mm = 1 } ]
                       ^
  hint: make feed_mm a step of its own)"},
          {R"([steps]
a = [ { dwell_s = 1, speed_mm_s = 3 } ]
)",
           R"(rules.toml:7:22: speed_mm_s does not go with dwell_s
  a = [ { dwell_s = 1, speed_mm_s = 3 } ]
                       ^
  hint: it goes with feed_mm, lift_mm and move_mm)"},
          {R"([steps]
a = [ { feed_mm = 1, seconds = 3 } ]
)",
           R"(rules.toml:7:22: seconds does not go with feed_mm
  a = [ { feed_mm = 1, seconds = 3 } ]
                       ^
  hint: it goes with gcode; a pause is dwell_s)"},
          {R"([steps]
a = [ { back = false } ]
)",
           R"(rules.toml:7:16: back must be true
  a = [ { back = false } ]
                 ^
  hint: leave the step out instead)"},
          {R"([steps]
a = [ { wait = 1 } ]
)",
           R"(rules.toml:7:16: wait must be true or false, not an integer
  a = [ { wait = 1 } ]
                 ^)"},
          {R"([steps]
a = [ { fan = 1.5 } ]
)",
           R"(rules.toml:7:15: fan must be from 0 to 1, not 1.5
  a = [ { fan = 1.5 } ]
                ^)"},
          {R"([steps]
a = [ { fan = 255 } ]
)",
           R"(rules.toml:7:15: fan must be from 0 to 1, not 255
  a = [ { fan = 255 } ]
                ^)"},
          {R"([steps]
a = [ { lift_mm = -1 } ]
)",
           R"(rules.toml:7:19: lift_mm must be more than 0 and at most 1000, not -1
  a = [ { lift_mm = -1 } ]
                    ^)"},
          {R"([steps]
a = [ { dwell_s = -1 } ]
)",
           R"(rules.toml:7:19: dwell_s must be from 0 to 86400, not -1
  a = [ { dwell_s = -1 } ]
                    ^)"},
          {R"([steps]
a = [ { temp_c = -1 } ]
)",
           R"(rules.toml:7:18: temp_c must be from 0 to 1000, not -1
  a = [ { temp_c = -1 } ]
                   ^)"},
          {R"([steps]
a = [ { feed_mm = 1, speed_mm_s = 0 } ]
)",
           R"(rules.toml:7:35: speed_mm_s must be more than 0 and at most 10000, not 0
  a = [ { feed_mm = 1, speed_mm_s = 0 } ]
                                    ^)"},
          {R"([steps]
a = [ { move_mm = {} } ]
)",
           R"(rules.toml:7:19: move_mm needs "x"
  a = [ { move_mm = {} } ]
                    ^
  hint: or y, or z)"},
          {R"([steps]
a = [ { move_mm = 3 } ]
)",
           R"(rules.toml:7:19: move_mm must be a table, not an integer
  a = [ { move_mm = 3 } ]
                    ^)"},
          {R"([machine]
travel_mm = { x = [0, 320] }
[steps]
a = [ { move_mm = { x = 321 } } ]
)",
           R"(rules.toml:9:25: x = 321 is outside machine.travel_mm, which is 0 to 320
  a = [ { move_mm = { x = 321 } } ]
                          ^)"},
          {R"([steps]
a = [ { gcode = "" } ]
)",
           R"(rules.toml:7:17: gcode must not be empty
  a = [ { gcode = "" } ]
                  ^)"},
          {R"([steps]
a = [ { gcode = "M400\nM112" } ]
)",
           R"(rules.toml:7:17: gcode must not contain line ends or other control characters
  a = [ { gcode = "M400\nM112" } ]
                  ^)"},
          {R"([steps]
a = [ { gcode = "M400 ;fw- x" } ]
)",
           R"(rules.toml:7:17: gcode must not contain ";fw", which marks the lines that rewriting put in
  a = [ { gcode = "M400 ;fw- x" } ]
                  ^)"},
          {R"([steps]
a = [ { gcode = "M400", seconds = -1 } ]
)",
           R"(rules.toml:7:35: seconds must be from 0 to 86400, not -1
  a = [ { gcode = "M400", seconds = -1 } ]
                                    ^)"},
          {R"([steps]
"" = []
)",
           R"(rules.toml:7:1: a step sequence must have a name
  "" = []
  ^)"},
          {R"([steps]
"a\nb" = []
)",
           R"(rules.toml:7:1: the name of a step sequence must not contain line ends or other control characters
  "a\nb" = []
  ^)"},
          {R"(before_park = "tuk"
[steps]
tuck = []
untuck = []
)",
           R"(rules.toml:6:15: there is no sequence "tuk" in [steps]
  before_park = "tuk"
                ^
  hint: did you mean "tuck"?)"},
          {R"(after_pick = "untuck"
)",
           R"(rules.toml:6:14: there is no sequence "untuck" in [steps]
  after_pick = "untuck"
               ^)"},
          {R"([[filament]]
tool = 0
after_exchange = "chrge"
[steps]
charge = []
)",
           R"(rules.toml:8:18: there is no sequence "chrge" in [steps]
  after_exchange = "chrge"
                   ^
  hint: did you mean "charge"?)"},
          {R"([material.PLA]
before_exchange = "tip"
)",
           R"(rules.toml:7:19: there is no sequence "tip" in [steps]
  before_exchange = "tip"
                    ^)"},
          {R"(before_park = "warm"
[steps]
warm = [ { temp_c = 301 } ]
)",
           R"(rules.toml:8:21: temp_c = 301 is above max_c of "ash", which is 300
  warm = [ { temp_c = 301 } ]
                      ^)"},
          {R"([[filament]]
tool = 0
material = "PLA"
[material.PLA]
after_exchange = "warm"
[steps]
warm = [ { wait = true }, { temp_c = 301 } ]
)",
           R"(rules.toml:12:38: temp_c = 301 is above max_c of "ash", which is 300
  warm = [ { wait = true }, { temp_c = 301 } ]
                                       ^)"},
      });
}

TEST_CASE("refused: dialect") {
  check_all(
      kVersion + kToolhead,
      {
          {R"([dialect]
set = "M104 S{temp}"
)",
           R"(rules.toml:7:7: set must contain {tool} or {heater}
  set = "M104 S{temp}"
        ^)"},
          {R"([dialect]
set = "M104 T{tool}"
)",
           R"(rules.toml:7:7: set must contain {temp}
  set = "M104 T{tool}"
        ^)"},
          {R"([dialect]
wait = "M109 T{tol} S{temp}"
)",
           R"(rules.toml:7:8: wait has an unknown placeholder "{tol}"
  wait = "M109 T{tol} S{temp}"
         ^
  hint: did you mean "tool"?)"},
          {R"([dialect]
wait = "M109 T{tool S{temp}"
)",
           R"(rules.toml:7:8: wait has a { without its }
  wait = "M109 T{tool S{temp}"
         ^)"},
          {R"([dialect]
wait = "M109 T{tool} S{temp"
)",
           R"(rules.toml:7:8: wait has a { without its }
  wait = "M109 T{tool} S{temp"
         ^)"},
          {R"([dialect]
wait = "M109 T{tool} S{temp}}"
)",
           R"(rules.toml:7:8: wait has a } without its {
  wait = "M109 T{tool} S{temp}}"
         ^)"},
          {R"([dialect]
set = "M104 T{tool} S{temp}\n"
)",
           R"(rules.toml:7:7: set must not contain line ends or other control characters
  set = "M104 T{tool} S{temp}\n"
        ^)"},
          {R"([dialect]
set = """M104 T{tool}
S{temp}"""
)",
           R"(rules.toml:7:7: set must not contain line ends or other control characters
  set = """M104 T{tool}
        ^)"},
          {R"([dialect]
set = 104
)",
           R"(rules.toml:7:7: set must be a string, not an integer
  set = 104
        ^)"},
          {R"([dialect]
set = "M104 T{tool} S{temp} ;fw+"
)",
           R"(rules.toml:7:7: set must not contain ";fw", which marks the lines that rewriting put in
  set = "M104 T{tool} S{temp} ;fw+"
        ^)"},
          {R"([dialect]
temperature_index = "toolhead"
)",
           R"(rules.toml:7:21: unknown temperature_index "toolhead"
  temperature_index = "toolhead"
                      ^
  hint: did you mean "tool"?)"},
          {R"([dialect]
job_start = "M84"
)",
           R"(rules.toml:7:13: job_start must be an array of strings, not a string
  job_start = "M84"
              ^)"},
          {R"([dialect]
job_start = [ "M84", 1 ]
)",
           R"(rules.toml:7:22: a line of job_start must be a string, not an integer
  job_start = [ "M84", 1 ]
                       ^)"},
          {R"([dialect]
job_end = [ "M84\r" ]
)",
           R"(rules.toml:7:13: a line of job_end must not contain line ends or other control characters
  job_end = [ "M84\r" ]
              ^)"},
          {R"([dialect]
job_end = [ "M84 ;fw" ]
)",
           R"(rules.toml:7:13: a line of job_end must not contain ";fw", which marks the lines that rewriting put in
  job_end = [ "M84 ;fw" ]
              ^)"},
      });
}

TEST_CASE("refused: patterns") {
  check_all(
      kVersion + kToolhead,
      {
          {R"([[recognise]]
match = "x"
)",
           R"(rules.toml:6:1: [[recognise]] needs "as"
  [[recognise]]
  ^
  hint: such as as = "change")"},
          {R"([[recognise]]
as = "layer"
)",
           R"(rules.toml:6:1: [[recognise]] needs "match"
  [[recognise]]
  ^)"},
          {R"([[recognise]]
match = ""
as = "layer"
)",
           R"(rules.toml:7:9: match must not be empty
  match = ""
          ^)"},
          {R"([[recognise]]
match = "x"
as = "chnge"
)",
           R"(rules.toml:8:6: unknown as "chnge"
  as = "chnge"
       ^
  hint: did you mean "change"?)"},
          {R"([[recognise]]
match = "("
as = "layer"
)",
           R"(rules.toml:7:9: pattern does not compile: missing ): (
  match = "("
          ^)"},
          {R"([[recognise]]
match = '^T(\d+)'
as = "change"
)",
           R"(rules.toml:7:9: pattern needs a group (?P<tool>...) to be a change
  match = '^T(\d+)'
          ^)"},
          {R"([[recognise]]
match = '(?P<tool>\d)'
as = "set"
)",
           R"(rules.toml:7:9: pattern needs a group (?P<temp>...) to be a set
  match = '(?P<tool>\d)'
          ^)"},
          {R"([[recognise]]
match = '(?P<temp>\d)'
as = "wait"
)",
           R"(rules.toml:7:9: pattern needs a group (?P<heater>...) or (?P<tool>...) to be a wait
  match = '(?P<temp>\d)'
          ^)"},
          {R"([[recognise]]
match = '(a)\1'
as = "layer"
)",
           R"(rules.toml:7:9: pattern does not compile: invalid escape sequence: \1
  match = '(a)\1'
          ^)"},
          {R"([[recognise]]
match = "((x{100}){100}){9}"
as = "layer"
)",
           R"(rules.toml:7:9: pattern does not compile: invalid repetition size: {100}
  match = "((x{100}){100}){9}"
          ^)"},
          {R"([[recognise]]
match = "(\\pL{100}){10}"
as = "layer"
)",
           R"(rules.toml:7:9: pattern needs more than 1 MiB: make its repetitions smaller
  match = "(\\pL{100}){10}"
          ^)"},
          {R"([[duration]]
match = "G28"
)",
           R"(rules.toml:6:1: [[duration]] needs "seconds"
  [[duration]]
  ^)"},
          {R"([[duration]]
seconds = 3
)",
           R"(rules.toml:6:1: [[duration]] needs "match"
  [[duration]]
  ^)"},
          {R"([[duration]]
match = "G28"
seconds = -3
)",
           R"(rules.toml:8:11: seconds must be from 0 to 86400, not -3
  seconds = -3
            ^)"},
          {R"([[duration]]
match = "*"
seconds = 3
)",
           R"(rules.toml:7:9: pattern does not compile: no argument for repetition operator: *
  match = "*"
          ^)"},
          {R"([duration]
match = "G28"
)",
           R"(rules.toml:6:1: duration must be an array of tables, not a table
  [duration]
  ^
  hint: write [[duration]])"},
      });
}

TEST_CASE("refused: of several mistakes, the first in the file") {
  check_all(kVersion + kToolhead, {
                                      {R"([motion]
time_scale = 99
[gap]
policy = "x"
)",
                                       R"(rules.toml:7:14: time_scale must be from 0.1 to 10, not 99
  time_scale = 99
               ^)"},
                                      {R"([gap]
policy = "x"
[motion]
time_scale = 99
)",
                                       R"(rules.toml:7:10: unknown policy "x"
  policy = "x"
           ^
  hint: known here: lookahead, timers, hold, as-sliced)"},
                                      {R"([[filament]]
tool = 9
[gap]
foo = 1
)",
                                       R"(rules.toml:7:8: no toolhead serves T9
  tool = 9
         ^
  hint: served are T0)"},
                                      {R"([gap]
foo = 1
hold_drop_c = -1
[machine]
ambient_c = 999
)",
                                       R"(rules.toml:7:1: unknown key "foo" in [gap]
  foo = 1
  ^
  hint: known here: policy, hold_drop_c, off_over_s, hot_idle_cost_per_h, energy_cost_per_kwh, restart_cost, timer_standby_s, timer_off_s, on_time, time_error, heater_error, exchange_spread_s, park_spread_s, lead_stretch, lead_extra_s)"},
                                  });
}

TEST_CASE("refused: columns count characters, excerpts are safe to print") {
  check_all("", {
                    {"version = 1 # \xc3\xa4\xc3\xb6\nx = \"\xc3\xa4\" y\n",
                     "rules.toml:2:9: Error while parsing key-value pair: expected a comment or "
                     "whitespace, saw "
                     "'y'\n  x = \"\xc3\xa4\" y\n          ^"},
                });
  // A terminal's escape in the file is not one in the message.
  const std::string escape = refusal("version = 1\n\x1b[31m = 2\n");
  CHECK(escape.find('\x1b') == std::string::npos);
  const std::string not_utf8 = refusal("version = 1\nname = \"\xff\"\n");
  CHECK(not_utf8.substr(0, 13) == "rules.toml:2:");
}

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
        "rules.toml:606:1: more than 200 patterns in [[recognise]] and [[duration]]\n"
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
