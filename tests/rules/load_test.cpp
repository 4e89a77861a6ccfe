// What a rule file may say, and what it means. What all keys have in common is in keys_test.cpp.
#include "rules/load.h"
#include "help/files.h"
#include "rules_test_help.h"

#include <xxhash.h>

#include <catch2/catch.hpp>
#include <map>

using namespace forewarm;
using namespace forewarm::test;
using rules::Rules;
using Action = rules::Step::Action;

namespace {

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
  CHECK(rules::built_in_text() == test::source_file("config/default.toml"));
  const Rules r = accepted(std::string(rules::built_in_text()));
  CHECK(r.toolhead_per_tool_seen);
  CHECK(r.toolheads.size() == 1);
  CHECK(r.toolheads[0].tools.empty());
  CHECK_FALSE(r.uses_steps);
  CHECK(r.recognise.empty());
}

TEST_CASE("when somebody is at the machine, and what a filament says of its exchanges") {
  const auto loaded = rules::load(
      "version = 1\n[attention]\naway = [\"22:00-07:00\", \"12:00-13:00\"]\nnotice_s = 60\n"
      "[[toolhead]]\nname = \"ash\"\ntools = [0, 1]\nexchange_s = 30\n"
      "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n"
      "[[filament]]\ntool = 1\nexchange_s = 42\nfault_odds = 0.25\n",
      "rules.toml");
  if (!loaded) FAIL(render(loaded.error()));
  CHECK(loaded->attention.away == std::vector<std::string>{"22:00-07:00", "12:00-13:00"});
  CHECK(loaded->attention.notice_s == 60);
  CHECK(loaded->attention.clear_s == 300);
  CHECK(loaded->gives_odds());
  const rules::Toolhead& head = loaded->toolheads[0];
  CHECK(rules::exchange_seconds(head, loaded->filament(0)) == 30);
  CHECK(rules::exchange_seconds(head, loaded->filament(1)) == 42);
  CHECK(rules::exchange_odds(loaded->feeder, loaded->filament(0)) == 0);
  CHECK(rules::exchange_odds({0.5}, loaded->filament(1)) == Approx(0.625));
  // They go with the filament where it is moved.
  CHECK(rules::exchange_seconds(head, loaded->with_filaments_moved({{1, 0}, {0, 1}}).filament(0)) ==
        42);
}

TEST_CASE("hours away that are none, or all of the day") {
  struct Case {
    const char *away, *says;
  };
  for (const Case& c : {
           Case{"[\"night\"]", "away: no two times of day can be read"},
           Case{"[\"12:00-13:00\", \"22:61-07:00\"]", "away: there is no such time of day"},
           Case{"[\"07:00-07:00\"]", "away: it ends when it begins"},
           Case{"[\"00:00-24:00\"]", "nobody is ever at the machine: away covers the whole day"},
           Case{"[\"06:00-18:00\", \"17:00-06:00\"]",
                "nobody is ever at the machine: away covers the whole day"},
       }) {
    CAPTURE(c.away);
    const auto loaded =
        rules::load(std::string("version = 1\n[attention]\naway = ") + c.away +
                        "\n[[toolhead]]\nname = \"ash\"\ntools = [0]\nheater = { power_w = 50, "
                        "full_drive_c = 450, time_constant_s = 180 }\n",
                    "rules.toml");
    REQUIRE_FALSE(loaded);
    CHECK(loaded.error().message == c.says);
    CHECK(loaded.error().line == 3);
    CHECK_FALSE(loaded.error().hint.empty());
  }
  CHECK(rules::load(
      "version = 1\n[attention]\naway = [\"06:00-18:00\", \"18:01-06:00\"]\n"
      "[[toolhead]]\nname = \"ash\"\ntools = [0]\nheater = { power_w = 50, full_drive_c = "
      "450, time_constant_s = 180 }\n",
      "rules.toml"));
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
           Case{"[machine]\npurge_area_mm = { x = [0, 1] }", "purge_area_mm needs \"y\""},
           Case{"[machine]\npurge_area_mm = {}", "purge_area_mm needs \"x\""},
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
  const Rules r = accepted(test::source_file("config/demo.toml"));
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

TEST_CASE("values at the very ends of what other keys leave them are accepted") {
  for (const char* text :
       {"[machine]\nheating_limit_w = 50\n", "[machine]\nheating_limit_w = 70\nbed_w = 20\n",
        "[[filament]]\ntool = 0\nstandby_c = 300\n", "[steps]\na = []\n",
        "[machine]\ntravel_mm = { x = [0, 320] }\n[steps]\na = [ { move_mm = { x = 320 } } ]\n"}) {
    accepted(kMinimal + text);
  }
}

TEST_CASE("off_over_s may be \"best\"") {
  CHECK(accepted(kMinimal + "[gap]\noff_over_s = \"best\"\n").gap.off_over_best);
  CHECK_FALSE(accepted(kMinimal + "[gap]\noff_over_s = 1500\n").gap.off_over_best);
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
  { make_up_mm_per_min = 0.2, at_most_mm = 2, speed_mm_s = 3 }, { make_up_mm_per_min = 100 },
]
)")
                         .steps.at(0)
                         .steps;
  REQUIRE(steps.size() == 13);
  const std::vector<Action> actions{
      Action::feed,  Action::lift,        Action::back,   Action::dwell, Action::move,
      Action::temp,  Action::temp_offset, Action::wait,   Action::fan,   Action::gcode,
      Action::gcode, Action::make_up,     Action::make_up};
  for (std::size_t i = 0; i < steps.size(); ++i) CHECK(steps[i].action == actions[i]);
  CHECK(steps[0].amount == -3);
  CHECK(steps[1].speed_mm_s == 10.0);
  CHECK(steps[4].move_mm[2] == 5.0);
  CHECK(steps[6].amount == -15);
  CHECK(steps[8].amount == 0.5);
  CHECK(steps[9].gcode == "M400");
  CHECK(steps[9].seconds == 0.5);
  CHECK(steps[10].seconds == 0);
  CHECK(steps[11].amount == 0.2);
  CHECK(steps[11].at_most_mm == 2);
  CHECK(steps[11].speed_mm_s == 3.0);
  CHECK(steps[12].at_most_mm == 3);
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

TEST_CASE("how heaters warm, cool and settle, and how long waits take") {
  const Rules plain = accepted(kMinimal);
  const forewarm::thermal::Hotend& as_before = plain.toolheads[0].hotend;
  CHECK(as_before.cooling_s() == as_before.time_constant_s);
  CHECK(as_before.approach_c == 0);
  CHECK(as_before.reached_c == 0);
  CHECK(as_before.settle_s == 0);
  CHECK(plain.dialect.wait_takes_s == 0);
  CHECK_FALSE(plain.dialect.waits_for_least());

  const Rules r = accepted(R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, cool_time_constant_s = 150, approach_c = 12, reached_c = 1.5, settle_s = 6 }
[dialect]
wait = "AWAIT T{tool} S{temp} L{least}"
wait_takes_s = 0.5
wait_window_c = 2
)");
  const forewarm::thermal::Hotend& h = r.toolheads[0].hotend;
  CHECK(h.time_constant_s == 180);
  CHECK(h.cooling_s() == 150);
  CHECK(h.approach_c == 12);
  CHECK(h.reached_c == 1.5);
  CHECK(h.settle_s == 6);
  CHECK(r.dialect.wait_takes_s == 0.5);
  CHECK(r.dialect.wait_window_c == 2);
  CHECK(r.dialect.waits_for_least());
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
  CHECK(d.echo.empty());
}

TEST_CASE("an echo is a line or several, and says the number and the word") {
  const auto echo_of = [](const std::string& value) {
    return accepted(kMinimal + "[dialect]\necho = " + value + "\n").dialect.echo;
  };
  CHECK(echo_of("'M118 {text}'") == std::vector<std::string>{"M118 {text}"});
  CHECK(echo_of("['M400', 'M118 {text}']") == std::vector<std::string>{"M400", "M118 {text}"});
  CHECK(echo_of("[]").empty());
  CHECK(rules::echo_line("M118 {text}", 12, "leave") == "M118 forewarm 12 leave");
  CHECK(rules::echo_line("{text}, {text}!", 0, "end") == "forewarm 0 end, forewarm 0 end!");
  CHECK(rules::echo_line("M400", 1, "there") == "M400");
}

TEST_CASE("where T means a heater to the job, it does so in what is written") {
  const std::string heater = "[dialect]\ntemperature_index = \"heater\"\n";
  const auto d = accepted(kMinimal + heater).dialect;
  CHECK(d.set == "M104 T{heater} S{temp}");
  CHECK(d.wait == "M109 T{heater} S{temp}");
  CHECK(accepted(kMinimal + heater + "set = \"H{tool} {temp}\"\n").dialect.set == "H{tool} {temp}");
  CHECK(accepted(kMinimal + heater + "set = \"H{tool} {temp}\"\n").dialect.wait ==
        "M109 T{heater} S{temp}");
}

TEST_CASE("the hash is XXH3 of the bytes") {
  CHECK(accepted(kMinimal).hash == XXH3_64bits(kMinimal.data(), kMinimal.size()));
  CHECK(accepted(kMinimal).hash != accepted(kMinimal + "# a remark\n").hash);
}
