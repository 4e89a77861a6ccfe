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
  check_at("",
           {
               {R"(version = @
)",
                R"(Error while parsing key-value pair: expected value, saw '\n')"},
               {R"(version = 1
name = "open@
)",
                "Error while parsing string: unescaped control characters other than TAB (U+0009) "
                "are explicitly prohibited"},
               {R"(version = 1
version = @1
)",
                "Error while parsing key-value pair: cannot redefine existing integer 'version'"},
               {R"([machine@
name = "x"
)",
                R"(Error while parsing table header: expected ']', saw '\n')"},
               {R"([machine]
@[machine]
)",
                "Error while parsing table header: cannot redefine existing table 'machine'"},
               {R"(version = 1
name = "\@q"
)",
                R"(Error while parsing string: unknown escape sequence '\q')"},
           });
  CHECK(refusal(R"(a = [1, 2
)") == R"(rules.toml:1:11: Error while parsing array: encountered end-of-file
  a = [1, 2
           ^)");
}

TEST_CASE("refused: what is required, and the version") {
  CHECK(refusal("") ==
        "rules.toml:1:1: the rule file needs \"version\"\n  hint: start with: version = 1");
  check_at("",
           {
               {R"(@# nothing yet
)",
                R"(the rule file needs "version")", "start with: version = 1"},
               {R"(@version = 1
)",
                R"(the rule file needs "toolhead")", "a rule file has at least one [[toolhead]]"},
               {R"(version = @2
anything = "goes"
)",
                "version must be 1, not 2"},
               {R"(version = @"1"
)",
                "version must be 1, not a string"},
               {R"(version = @1.0
)",
                "version must be 1, not a float"},
               {R"(version = @-1
)",
                "version must be 1, not -1"},
               {R"(@verison = 1
[[toolhead]]
)",
                R"(unknown key "verison" in the rule file)", R"(did you mean "version"?)"},
               {R"(version = 1
toolhead = @[]
)",
                "a rule file has at least one [[toolhead]]"},
           });
}

TEST_CASE("refused: toolheads") {
  check_at("", {
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = @[]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    "tools must name at least one T number"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = @0
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    R"(tools must be an array of T numbers or "seen", not an integer)"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = @"all"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    R"(tools must be an array of T numbers or "seen", not "all")"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, @-1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    "a tool must be from 0 to 65535, not -1"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [@0.0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    "a tool must be a whole number, not a float"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [@"T0"]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    "a tool must be a whole number, not a string"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, @70000]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    "a tool must be from 0 to 65535, not 70000"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, 1, @0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                    "T0 is listed twice"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
@[[toolhead.heater]]
power_w = 50
)",
                    "heater must be a table, not an array of tables"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = @20, time_constant_s = 180 }
)",
                    "full_drive_c must be more than machine.ambient_c, which is 23, not 20"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, max_c = @20 }
)",
                    "max_c must be more than machine.ambient_c, which is 23, not 20"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, index = @1 }
)",
                    R"(heater.index does not go with tools = "seen": it is the T number)"},
               });
}

TEST_CASE("refused: toolheads beside the minimal one") {
  check_at(kVersion + kToolhead, {
                                     {R"([[toolhead]]
name = @"ash"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                                      R"(there is a toolhead "ash" already)"},
                                     {R"([[toolhead]]
name = "birch"
tools = [1, @0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                                      R"(T0 is served by both "ash" and "birch")"},
                                     {R"([[toolhead]]
name = "birch"
tools = @"seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                                      R"(tools = "seen" stands for every toolhead)",
                                      "keep one [[toolhead]], or give each its T numbers"},
                                     {R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = @0, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                                      R"(heater 0 is that of both "ash" and "birch")"},
                                     {R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [3]
heater = { index = @1, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                                      R"(heater 1 is that of both "birch" and "cedar")"},
                                     {R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { index = 5, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = @[5]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                                      R"(heater 5 is that of both "birch" and "cedar")",
                                      "heater.index is the first of tools unless it is given"},
                                 });
  CHECK(
      refusal(kVersion + kToolhead + R"([machine]
heating_limit_w = 60
bed_w = 20
)") ==
      R"(rules.toml:5:22: power_w = 50 of "ash" and bed_w = 20 are more than machine.heating_limit_w, which is 60
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
                       ^)");
  CHECK(
      refusal(kVersion + kToolhead + R"([machine]
heating_limit_w = 40
)") ==
      R"(rules.toml:5:22: power_w = 50 of "ash" alone is more than machine.heating_limit_w, which is 40
  heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
                       ^)");
}

TEST_CASE("refused: unknown keys, at every level") {
  check_at(kVersion + kToolhead,
           {
               {R"(@tool = 1
)",
                R"(unknown key "tool" in [[toolhead]])", R"(did you mean "tools"?)"},
               {R"(@colour = 1
)",
                R"(unknown key "colour" in [[toolhead]])", R"(did you mean "tools"?)"},
               {R"([@machin]
)",
                R"(unknown key "machin" in the rule file)", R"(did you mean "machine"?)"},
               {R"([material.PLA]
@name = "x"
)",
                R"(unknown key "name" in [material.PLA])",
                "known here: standby_c, density_g_cm3, diameter_mm, max_hot_idle_s, exchange_c, "
                "before_exchange, after_exchange, at_last_use"},
               {R"(@"\u0007bell" = 1
)",
                R"(unknown key "?bell" in [[toolhead]])",
                "known here: name, tools, heater, park_s, pick_s, exchange_s, exchange_purge_mm3, "
                "fault_odds, max_flow_mm3_s, before_park, after_pick, at_last_use"},
               {R"(@heater.idx = 1
)",
                "Error while parsing key-value pair: cannot redefine existing table as dotted "
                "key-value pair"},
           });
}

TEST_CASE("refused: machine and motion") {
  check_at(kVersion + kToolhead, {
                                     {R"([motion]
jerk_mm_s = { x = 8 }
@junction_deviation_mm = 0.02
)",
                                      "jerk_mm_s and junction_deviation_mm exclude each other",
                                      "keep the one that the machine's firmware uses"},
                                     {R"([motion]
junction_deviation_mm = 0.02
@jerk_mm_s = { x = 8 }
)",
                                      "jerk_mm_s and junction_deviation_mm exclude each other",
                                      "keep the one that the machine's firmware uses"},
                                 });
}

TEST_CASE("refused: filaments and materials") {
  check_at(
      kVersion + kToolhead,
      {
          {R"([[filament]]
tool = @9
)",
           "no toolhead serves T9", "served are T0"},
          {R"([[filament]]
tool = 0
[[filament]]
tool = @0
)",
           "there is a filament for T0 already"},
          {R"([[filament]]
tool = 0
material = @"PLAA"
[material.PLA]
[material.PETG]
)",
           "there is no [material.PLAA]", R"(did you mean "PLA"?)"},
          {R"([[filament]]
tool = 0
material = @"something else"
[material.PLA]
[material.PETG]
)",
           "there is no [material.something else]", "known here: PETG, PLA"},
          {R"([[filament]]
tool = 0
standby_c = @301
)",
           R"(standby_c = 301 is above max_c of "ash", which is 300)"},
          {R"([[filament]]
tool = 0
material = @"PEEK"
[material.PEEK]
standby_c = 350
)",
           R"(standby_c = 350 is above max_c of "ash", which is 300)"},
          {R"([material]
PLA = @1
)",
           "material must hold tables, not an integer", "write [material.NAME], then its values"},
          {R"([material.@"a\tb"]
)",
           "the name of a material must not contain line ends or other control characters"},
          {R"([material.@""]
)",
           "a material must have a name"},
      });
}

TEST_CASE("refused: gap") {
  check_at(kVersion + kToolhead, {
                                     {R"([gap]
off_over_s = @"bset"
)",
                                      R"(off_over_s must be a number or "best", not "bset")"},
                                 });
}

TEST_CASE("refused: steps") {
  check_at(
      kVersion + kToolhead,
      {
          {R"([steps]
a = @{ dwell_s = 1 }
)",
           R"("a" must be an array of steps, not a table)", "such as [ { dwell_s = 1.5 } ]"},
          {R"([steps]
a = [ @"G1" ]
)",
           "a step must be a table, not a string", "such as { dwell_s = 1.5 }"},
          {R"([steps]
a = [ @{} ]
)",
           R"(a step needs "feed_mm")", "or another action; a step has exactly one"},
          {R"([steps]
a = [ @{ speed_mm_s = 3 } ]
)",
           R"(a step needs "feed_mm")", "or another action; a step has exactly one"},
          {R"([steps]
a = [ { feed_mm = 1, @lift_mm = 1 } ]
)",
           "a step has one action; this one has feed_mm already", "make lift_mm a step of its own"},
          {R"([steps]
a = [ { lift_mm = 1, @feed_mm = 1 } ]
)",
           "a step has one action; this one has lift_mm already", "make feed_mm a step of its own"},
          {R"([steps]
a = [ { dwell_s = 1, @speed_mm_s = 3 } ]
)",
           "speed_mm_s does not go with dwell_s", "it goes with feed_mm, lift_mm and move_mm"},
          {R"([steps]
a = [ { feed_mm = 1, @seconds = 3 } ]
)",
           "seconds does not go with feed_mm", "it goes with gcode; a pause is dwell_s"},
          {R"([steps]
a = [ { back = @false } ]
)",
           "back must be true", "leave the step out instead"},
          {R"([steps]
a = [ { move_mm = @{} } ]
)",
           R"(move_mm needs "x")", "or y, or z"},
          {R"([machine]
travel_mm = { x = [0, 320] }
[steps]
a = [ { move_mm = { x = @321 } } ]
)",
           "x = 321 is outside machine.travel_mm, which is 0 to 320"},
          {R"([steps]
@"" = []
)",
           "a step sequence must have a name"},
          {R"([steps]
@"a\nb" = []
)",
           "the name of a step sequence must not contain line ends or other control characters"},
          {R"(before_park = @"tuk"
[steps]
tuck = []
untuck = []
)",
           R"(there is no sequence "tuk" in [steps])", R"(did you mean "tuck"?)"},
          {R"(after_pick = @"untuck"
)",
           R"(there is no sequence "untuck" in [steps])"},
          {R"([[filament]]
tool = 0
after_exchange = @"chrge"
[steps]
charge = []
)",
           R"(there is no sequence "chrge" in [steps])", R"(did you mean "charge"?)"},
          {R"([material.PLA]
before_exchange = @"tip"
)",
           R"(there is no sequence "tip" in [steps])"},
          {R"(before_park = "warm"
[steps]
warm = [ { temp_c = @301 } ]
)",
           R"(temp_c = 301 is above max_c of "ash", which is 300)"},
          {R"([[filament]]
tool = 0
material = "PLA"
[material.PLA]
after_exchange = "warm"
[steps]
warm = [ { wait = true }, { temp_c = @301 } ]
)",
           R"(temp_c = 301 is above max_c of "ash", which is 300)"},
      });
}

TEST_CASE("refused: dialect") {
  check_at(
      kVersion + kToolhead,
      {
          {R"([dialect]
set = @"M104 S{temp}"
)",
           "set must contain {tool} or {heater}"},
          {R"([dialect]
set = @"M104 T{tool}"
)",
           "set must contain {temp}"},
          {R"([dialect]
wait = @"M109 T{tol} S{temp}"
)",
           R"(wait has an unknown placeholder "{tol}")", R"(did you mean "tool"?)"},
          {R"([dialect]
wait = @"M109 T{tool S{temp}"
)",
           "wait has a { without its }"},
          {R"([dialect]
wait = @"M109 T{tool} S{temp"
)",
           "wait has a { without its }"},
          {R"([dialect]
wait = @"M109 T{tool} S{temp}}"
)",
           "wait has a } without its {"},
          {R"([dialect]
job_start = [ "M84", @1 ]
)",
           "a line of job_start must be a string, not an integer"},
          {R"([dialect]
job_end = [ @"M84\r" ]
)",
           "a line of job_end must not contain line ends or other control characters"},
          {R"([dialect]
job_end = [ @"M84 ;fw" ]
)",
           R"(a line of job_end must not contain ";fw", which marks the lines that rewriting put in)"},
      });
}

TEST_CASE("refused: patterns") {
  check_at(kVersion + kToolhead,
           {
               {R"([[recognise]]
match = @"("
as = "layer"
)",
                "pattern does not compile: missing ): ("},
               {R"([[recognise]]
match = @'^T(\d+)'
as = "change"
)",
                "pattern needs a group (?P<tool>...) to be a change"},
               {R"([[recognise]]
match = @'(?P<tool>\d)'
as = "set"
)",
                "pattern needs a group (?P<temp>...) to be a set"},
               {R"([[recognise]]
match = @'(?P<temp>\d)'
as = "wait"
)",
                "pattern needs a group (?P<heater>...) or (?P<tool>...) to be a wait"},
               {R"([[recognise]]
match = @'(a)\1'
as = "layer"
)",
                R"(pattern does not compile: invalid escape sequence: \1)"},
               {R"([[recognise]]
match = @"((x{100}){100}){9}"
as = "layer"
)",
                "pattern does not compile: invalid repetition size: {100}"},
               {R"([[recognise]]
match = @"(\\pL{100}){10}"
as = "layer"
)",
                "pattern needs more than 1 MiB: make its repetitions smaller"},
               {R"([[duration]]
match = @"*"
seconds = 3
)",
                "pattern does not compile: no argument for repetition operator: *"},
           });
}

TEST_CASE("refused: of several mistakes, the first in the file") {
  check_at(
      kVersion + kToolhead,
      {
          {R"([motion]
time_scale = @99
[gap]
policy = "x"
)",
           "time_scale must be from 0.1 to 10, not 99"},
          {R"([gap]
policy = @"x"
[motion]
time_scale = 99
)",
           R"(unknown policy "x")", "known here: lookahead, timers, hold, as-sliced"},
          {R"([[filament]]
tool = @9
[gap]
foo = 1
)",
           "no toolhead serves T9", "served are T0"},
          {R"([gap]
@foo = 1
hold_drop_c = -1
[machine]
ambient_c = 999
)",
           R"(unknown key "foo" in [gap])",
           "known here: policy, hold_drop_c, off_over_s, hot_idle_cost_per_h, energy_cost_per_kwh, "
           "restart_cost, timer_standby_s, timer_off_s, on_time, time_error, heater_error, "
           "exchange_spread_s, park_spread_s, lead_stretch, lead_extra_s"},
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
