// What is wrong with a rule file beyond what all keys have in common (keys_test.cpp), and how that
// is said: what is special to a key, and what must hold between keys.
#include <catch2/catch.hpp>

#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;

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
tools = [0]
heater = @{ power_w = 50, full_drive_c = 450, time_constant_s = 1, approach_c = 10 }
)",
                    R"(heater needs "reached_c")",
                    "what is left within approach_c never quite goes; reached_c = 1 is the target "
                    "less 1 C"},
                   {R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 1, approach_c = 10, reached_c = @0 }
)",
                    "reached_c must be over 0 where approach_c is",
                    "what is left within approach_c never quite goes; reached_c = 1 is the target "
                    "less 1 C"},
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
               {R"([feeder]
@"\u0007bell" = 1
)",
                R"(unknown key "?bell" in [feeder])", "known here: fault_odds"},
               {R"(@heater.idx = 1
)",
                "Error while parsing key-value pair: cannot redefine existing table as dotted "
                "key-value pair"},
           });
}

TEST_CASE("refused: machine and motion") {
  check_at(kVersion + kToolhead,
           {
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
               {R"([motion]
right_angle_mm_s = 5
@junction_deviation_mm = 0.02
)",
                "junction_deviation_mm and right_angle_mm_s exclude each other",
                "keep the one that the machine's firmware uses"},
               {R"([motion]
jerk_mm_s = { x = 8 }
@right_angle_mm_s = 5
)",
                "jerk_mm_s and right_angle_mm_s exclude each other",
                "keep the one that the machine's firmware uses"},
               {R"([motion]
rests_at = @'^M106'
)",
                "rests_at must be an array of strings, not a string"},
               {R"([motion]
rests_at = ['^M106', @'']
)",
                "a pattern of rests_at must not be empty"},
               {R"([motion]
rests_at = ['^M106', @5]
)",
                "a pattern of rests_at must be a string, not an integer"},
               {R"([motion]
rests_at = ['^M106', @'(']
)",
                "pattern does not compile: missing ): ("},
           });
}

TEST_CASE("refused: spools") {
  check_at(kVersion + kToolhead,
           {
               {R"([[filament]]
tool = 0
spool_g = @-1
)",
                "spool_g must be at least 0, not -1"},
               {R"([[filament]]
tool = 0
spool_g = @"full"
)",
                "spool_g must be a number, not a string"},
               {R"([[filament]]
tool = 0
spool_g = @nan
)",
                "spool_g must be a finite number, not nan"},
               {R"([[filament]]
tool = 0
spool_margin = @0.95
)",
                "spool_margin must be from 0 to 0.9, not 0.95"},
               {R"([[filament]]
tool = 0
spool_margin = @-0.1
)",
                "spool_margin must be from 0 to 0.9, not -0.1"},
               {R"([[filament]]
tool = 0
@spool_kg = 1
)",
                R"(unknown key "spool_kg" in [[filament]])", R"(did you mean "spool_g"?)"},
               {R"([material.PLA]
@spool_g = 250
)",
                R"(unknown key "spool_g" in [material.PLA])",
                "known here: standby_c, density_g_cm3, diameter_mm, max_hot_idle_s, exchange_c, "
                "before_exchange, after_exchange, at_last_use"},
               {R"([[toolhead]]
name = "birch"
tools = [1]
@spool_g = 250
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)",
                R"(unknown key "spool_g" in [[toolhead]])", R"(did you mean "tools"?)"},
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
           "speed_mm_s does not go with dwell_s",
           "it goes with feed_mm, lift_mm, move_mm and make_up_mm_per_min"},
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
set = @"M104 T{tool} S{temp} L{least}"
)",
           R"(set has an unknown placeholder "{least}")", "known here: tool, heater, temp"},
          {R"([dialect]
wait = @"HEAT T{tool} L{least}"
wait_window_c = 2
)",
           "wait must contain {temp}"},
          {R"([dialect]
wait = @"HEAT S{temp} L{least}"
wait_window_c = 2
)",
           "wait must contain {tool} or {heater}"},
          {R"(@[dialect]
wait = "HEAT T{tool} S{temp} L{least}"
)",
           R"([dialect] needs "wait_window_c")",
           "{least} is the target less wait_window_c, such as wait_window_c = 2"},
          {R"([dialect]
wait = "HEAT T{tool} S{temp} L{least}"
wait_window_c = @0
)",
           "wait_window_c must be over 0 where wait has {least}",
           "{least} is the target less wait_window_c, such as wait_window_c = 2"},
          {R"([dialect]
wait = "HEAT T{tool} S{temp} L{least}"
wait_window_c = @2
[[toolhead]]
name = "yew"
tools = [9]
heater = { approach_c = 9, reached_c = 3 }
)",
           "wait_window_c is less than reached_c of toolhead \"yew\", which is 3",
           "a wait for {least} would last longer than one for the target itself"},
          {R"([dialect]
wait_window_c = @2
)",
           "wait_window_c does nothing unless wait has {least}",
           R"(such as wait = "AWAIT_AT_LEAST T{tool} S{temp} L{least}")"},
          {R"([dialect]
set = "M104 T{tool} S{temp}"
wait = "M109 T{tool} S{temp}"
wait_window_c = @2
)",
           "wait_window_c does nothing unless wait has {least}",
           R"(such as wait = "AWAIT_AT_LEAST T{tool} S{temp} L{least}")"},
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
           R"(a line of job_end must not contain ";fw", which marks the lines that rewriting inserts)"},
          {R"([dialect]
echo = @7
)",
           "echo must be a string or an array of strings, not an integer"},
          {R"([dialect]
echo = [ "M118 {text}", @true ]
)",
           "a line of echo must be a string, not a boolean"},
          {R"([dialect]
echo = @"M118 done"
)",
           "echo must contain {text}", R"(such as echo = "M118 {text}")"},
          {R"([dialect]
echo = @[ "M400", "M118 {txt}" ]
)",
           "echo must contain {text}", R"(such as echo = "M118 {text}")"},
          {R"([dialect]
echo = @"M118 {text} ;fw+ x"
)",
           R"(echo must not contain ";fw", which marks the lines that rewriting inserts)"},
      });
}

TEST_CASE("refused: patterns") {
  check_at(
      kVersion + kToolhead,
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
           "pattern needs a group (?P<tool>...) to be a change, or a fixed tool beside it"},
          {R"([[recognise]]
match = @'(?P<tool>\d)'
as = "set"
)",
           "pattern needs a group (?P<temp>...) to be a set"},
          {R"([[recognise]]
match = @'(?P<temp>\d)'
as = "wait"
)",
           "pattern needs a group (?P<heater>...) or (?P<tool>...) to be a wait, or a fixed tool "
           "beside it"},
          {R"([[recognise]]
match = '^PICK_ASH'
as = "change"
tool = @7
)",
           "no toolhead serves T7", "served are T0"},
          {R"([[recognise]]
match = '^; level'
as = "layer"
@tool = 0
)",
           "tool does nothing with that `as`", "it goes with \"change\", \"set\" and \"wait\""},
          {R"([[recognise]]
match = '^PICK_ASH'
as = "change"
tool = @-1
)",
           "tool must be from 0 to 65535, not -1"},
          {R"([[recognise]]
match = '^PICK_ASH'
as = "change"
tool = @"ash"
)",
           "tool must be a whole number, not a string"},
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
  check_at(kVersion + kToolhead,
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
               {R"([feeder]
@foo = 1
fault_odds = -1
[machine]
ambient_c = 999
)",
                R"(unknown key "foo" in [feeder])", "known here: fault_odds"},
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
