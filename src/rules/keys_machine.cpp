#include "rules/keys.h"

namespace forewarm::rules {

namespace {

using Shape = SectionInfo::Shape;

constexpr Limits kMachineSpeed{0, 1e5, true};
constexpr Limits kAccel{0, 1e7, true};
constexpr Limits kOdds{0, 1};

constexpr std::array kMachineKeys{
    Key<Machine>{.name = "name",
                 .value = Text<Machine>{&Machine::name, TextRule::name},
                 .doc = "The name of the machine in reports."},
    Key<Machine>{.name = "ambient_c",
                 .value = Number<Machine>{&Machine::ambient_c, {-50, 100}},
                 .doc = "The temperature that parked heaters cool towards."},
    Key<Machine>{.name = "travel_mm",
                 .value = Spans<Machine>{&Machine::travel_mm},
                 .doc = "Where inserted moves may go: lowest and highest position of x, y and z, "
                        "any of which may be left out. A move_mm beyond is an error.",
                 .derived = "no bounds",
                 .example = "{ x = [0, 320], y = [0, 300], z = [0, 260] }"},
    Key<Machine>{.name = "purge_area_mm",
                 .value = Spans<Machine>{&Machine::purge_area_mm},
                 .doc = "Filament extruded from within this rectangle to within it is purged, "
                        "besides what [[recognise]] finds. Both x and y are needed.",
                 .hint = "such as { x = [0, 30], y = [0, 60] }",
                 .example = "{ x = [296, 320], y = [0, 40] }"},
    Key<Machine>{.name = "heating_limit_w",
                 .value = Number<Machine>{&Machine::heating_limit_w, kOverZero},
                 .doc = "Heaters at full drive together draw no more than this, less bed_w. What "
                        "holding a temperature takes is not counted: leave room for it. No heater "
                        "alone may draw more either.",
                 .example = "120"},
    Key<Machine>{.name = "bed_w",
                 .value = Number<Machine>{&Machine::bed_w, kAtLeastZero},
                 .doc = "The part of heating_limit_w that the bed is taken to draw at any moment."},
};

constexpr std::array kMotionKeys{
    Key<Motion>{.name = "max_speed_mm_s",
                .value = PerAxis<Motion>{&Motion::max_speed_mm_s, kMachineSpeed},
                .doc = "The highest speed of each axis, until the job's M203."},
    Key<Motion>{.name = "max_accel_mm_s2",
                .value = PerAxis<Motion>{&Motion::max_accel_mm_s2, kAccel},
                .doc = "The highest acceleration of each axis, until the job's M201."},
    Key<Motion>{.name = "accel_mm_s2",
                .value = Number<Motion>{&Motion::accel_mm_s2, kAccel},
                .doc = "The acceleration of printing, travel and retracting, until the job's "
                       "M204."},
    Key<Motion>{.name = "jerk_mm_s",
                .value = PerAxis<Motion>{&Motion::jerk_mm_s, {0, 1e5}},
                .doc = "The change of speed that each axis makes at once, until the job's M205."},
    Key<Motion>{.name = "junction_deviation_mm",
                .value = Number<Motion>{&Motion::junction_deviation_mm, {0, 10, true}},
                .doc = "How far a corner may be rounded; instead of jerk_mm_s, where the firmware "
                       "uses it.",
                .example = "0.02"},
    Key<Motion>{.name = "right_angle_mm_s",
                .value = Number<Motion>{&Motion::right_angle_mm_s, {0, 1000, true}},
                .doc = "The speed at which a corner of 90 degrees is taken, whatever the "
                       "acceleration; instead of the two above, where the firmware uses it. The "
                       "job's M205 is left aside then.",
                .example = "5"},
    Key<Motion>{.name = "rests_at",
                .value = Lines<Motion>{&Motion::rests_at, true},
                .doc = "Lines at which motion comes to rest, and starts again, besides those that "
                       "always do: M400, M109, M190, G4, M0, homing and selects.",
                .example = "['^M106']"},
    Key<Motion>{.name = "time_scale",
                .value = Number<Motion>{&Motion::time_scale, {0.1, 10}},
                .doc = "Measured print time divided by modelled print time."},
};

constexpr std::array kFeederKeys{
    Key<Feeder>{.name = "fault_odds",
                .value = Number<Feeder>{&Feeder::fault_odds, kOdds},
                .doc = "The chance that an exchange stops the machine until somebody comes. Count "
                       "your own. With fault_odds of the filament that comes in, either may "
                       "happen.",
                .example = "0.002"},
};

constexpr std::array kAttentionKeys{
    Key<AttentionSettings>{
        .name = "away",
        .value = Lines<AttentionSettings>{&AttentionSettings::away},
        .doc = "Hours of every day in which nobody is at the machine; they may cross midnight, but "
               "not cover the whole day. `--away` takes their place.",
        .example = "[\"22:00-07:00\"]"},
    Key<AttentionSettings>{
        .name = "notice_s",
        .value = Number<AttentionSettings>{&AttentionSettings::notice_s, kMachineSeconds},
        .doc = "How long the machine stands until somebody who is there comes. Hours away do not "
               "count: they delay it."},
    Key<AttentionSettings>{
        .name = "clear_s",
        .value = Number<AttentionSettings>{&AttentionSettings::clear_s, kMachineSeconds},
        .doc = "How long it takes then until the machine goes on."},
};

constexpr std::array kHeaterKeys{
    Key<Toolhead>{.name = "index",
                  .value = Index<Toolhead>{&Toolhead::heater_index},
                  .doc =
                      "The firmware's number of this heater. Not with tools = \"seen\", where it "
                      "is the T number.",
                  .derived = "the first of tools",
                  .example = "1"},
    Key<Toolhead>{.name = "power_w",
                  .value = Number<Toolhead>{&thermal::Hotend::power_w, {0, 1e5, true}},
                  .doc = "What the heater draws at full drive.",
                  .required = true,
                  .example = "50"},
    Key<Toolhead>{.name = "full_drive_c",
                  .value = Number<Toolhead>{&thermal::Hotend::full_drive_c, {0, 5000, true}},
                  .doc = "Where full drive would end if it were left on, by the climb that you "
                         "measured. More than ambient_c of the machine.",
                  .required = true,
                  .hint = "where the heater would end up at full drive; measure it",
                  .example = "450"},
    Key<Toolhead>{.name = "time_constant_s",
                  .value = Number<Toolhead>{&thermal::Hotend::time_constant_s, {0, 1e6, true}},
                  .doc = "The time in which a parked heater loses 63 % of its heat above ambient; "
                         "measure it. It holds for warming and cooling alike unless "
                         "cool_time_constant_s is given.",
                  .required = true,
                  .hint = "measure it: the seconds in which a parked heater loses 63 % of its heat "
                          "above ambient",
                  .example = "180"},
    Key<Toolhead>{.name = "dead_time_s",
                  .value = Number<Toolhead>{&thermal::Hotend::dead_time_s, {0, 3600}},
                  .doc = "The time from the command until the heater gets warmer."},
    Key<Toolhead>{.name = "cool_time_constant_s",
                  .value = Number<Toolhead>{&thermal::Hotend::cool_time_constant_s, {0, 1e6, true}},
                  .doc =
                      "The time constant of cooling, where it is another than that of warming: a "
                      "fan blows, or heat soaks in.",
                  .derived = "that of warming, time_constant_s",
                  .example = "150"},
    Key<Toolhead>{.name = "approach_c",
                  .value = Number<Toolhead>{&thermal::Hotend::approach_c, {0, 500}},
                  .doc = "How far below its target the heater leaves full drive. From there on its "
                         "drive falls in proportion to what is left, down to what holds the "
                         "target. 0: full drive to the end. Needs reached_c.",
                  .example = "10"},
    Key<Toolhead>{.name = "reached_c",
                  .value = Number<Toolhead>{&thermal::Hotend::reached_c, {0, 100}},
                  .doc = "How far below its target the heater counts as there, as the window of "
                         "the firmware's wait has it. Over 0 where approach_c is.",
                  .example = "1"},
    Key<Toolhead>{.name = "settle_s",
                  .value = Number<Toolhead>{&thermal::Hotend::settle_s, {0, 3600}},
                  .doc =
                      "The time from first reaching a target until the machine's own wait for it "
                      "is over. Part of every lead, and of every wait that follows heating.",
                  .example = "5"},
    Key<Toolhead>{.name = "max_c",
                  .value = Number<Toolhead>{&Toolhead::max_c, kTemperature},
                  .doc = "No target is above it. More than ambient_c of the machine."},
};

constexpr std::array kToolheadKeys{
    Key<Toolhead>{.name = "name",
                  .value = Text<Toolhead>{&Toolhead::name, TextRule::name},
                  .doc = "The name of the toolhead in reports and marks. No other toolhead has it.",
                  .required = true,
                  .example = "\"ash\""},
    Key<Toolhead>{.name = "tools",
                  .value = Tools<Toolhead>{&Toolhead::tools},
                  .doc = "The T numbers that it serves, each in one toolhead only; with more than "
                         "one, a feeder exchanges its filament. \"seen\", with one [[toolhead]] in "
                         "the file, makes that the pattern of one for each T number in the job.",
                  .required = true,
                  .hint = "such as tools = [0], or tools = \"seen\"",
                  .example = "[0]"},
    Key<Toolhead>{.name = "heater",
                  .value = Part{&sections::heater},
                  .doc = "How its heater behaves.",
                  .required = true,
                  .example = "{ power_w = 50, full_drive_c = 450, time_constant_s = 180 }"},
    Key<Toolhead>{.name = "park_s",
                  .value = Number<Toolhead>{&Toolhead::park_s, kMachineSeconds},
                  .doc = "How long it takes to put the toolhead away."},
    Key<Toolhead>{.name = "pick_s",
                  .value = Number<Toolhead>{&Toolhead::pick_s, kMachineSeconds},
                  .doc = "How long it takes to pick the toolhead up."},
    Key<Toolhead>{.name = "exchange_s",
                  .value = Number<Toolhead>{&Toolhead::exchange_s, kMachineSeconds},
                  .doc = "How long its feeder takes to take one filament out and another in; an "
                         "exchange_s of the filament that comes in takes its place."},
    Key<Toolhead>{.name = "exchange_purge_mm3",
                  .value = Number<Toolhead>{&Toolhead::exchange_purge_mm3, {0, 1e6}},
                  .doc = "The filament that an exchange purges, besides what the job itself "
                         "extrudes; 0 where it is not known. The forecast counts it, and so does "
                         "`assign --by purge` without a matrix."},
    Key<Toolhead>{.name = "fault_odds",
                  .value = Number<Toolhead>{&Toolhead::fault_odds, kOdds},
                  .doc = "The chance that picking it stops the machine until somebody comes. Where "
                         "any fault_odds is given, those left out are 0; where none is, the "
                         "forecast says so.",
                  .example = "0.0002"},
    Key<Toolhead>{
        .name = "max_flow_mm3_s",
        .value = Number<Toolhead>{&Toolhead::max_flow_mm3_s, kOverZero},
        .doc = "Feeding forwards is no faster, in any sequence that the toolhead can get.",
        .example = "18"},
    Key<Toolhead>{.name = "before_park",
                  .value = Text<Toolhead>{&Toolhead::before_park, TextRule::sequence},
                  .doc =
                      "Given right before the select that puts the toolhead away, where it comes "
                      "back with the same filament. What it and after_pick feed adds up to 0.",
                  .example = "\"tuck\""},
    Key<Toolhead>{.name = "after_pick",
                  .value = Text<Toolhead>{&Toolhead::after_pick, TextRule::sequence},
                  .doc = "Given after the wait of the next use; it undoes what before_park did.",
                  .example = "\"untuck\""},
    Key<Toolhead>{.name = "at_last_use",
                  .value = Text<Toolhead>{&Toolhead::at_last_use, TextRule::sequence},
                  .doc = "Given where the toolhead is put away for good, hot, with a filament that "
                         "has no at_last_use of its own.",
                  .example = "\"withdraw\""},
};

constexpr std::array kMaterialKeys{
    Key<Filament>{.name = "standby_c",
                  .value = Number<Filament>{&Filament::standby_c, kTemperature},
                  .doc =
                      "The temperature at which a parked heater waits. No more than max_c of the "
                      "toolhead."},
    Key<Filament>{.name = "density_g_cm3",
                  .value = Number<Filament>{&Filament::density_g_cm3, {0, 100, true}},
                  .doc = "The density, for weights in reports."},
    Key<Filament>{.name = "diameter_mm",
                  .value = Number<Filament>{&Filament::diameter_mm, {0, 100, true}},
                  .doc = "The diameter, for weights and for max_flow_mm3_s."},
    Key<Filament>{.name = "max_hot_idle_s",
                  .value = Number<Filament>{&Filament::max_hot_idle_s, kAtLeastZero},
                  .doc =
                      "How long a parked heater may be hot in one gap. Where standby would break "
                      "it, the heater is shut down."},
    Key<Filament>{.name = "exchange_c",
                  .value = Number<Filament>{&Filament::exchange_c, kTemperature},
                  .doc = "What the nozzle is at, at least, while this filament goes through it in "
                         "an exchange. No more than max_c of the toolhead. Where the outgoing "
                         "filament has none, what it was printed at counts.",
                  .example = "245"},
    Key<Filament>{.name = "before_exchange",
                  .value = Text<Filament>{&Filament::before_exchange, TextRule::sequence},
                  .doc = "Given hot, before the feeder takes this filament out: right before the "
                         "select on a mounted toolhead, or where it is parked, to come back with "
                         "another filament.",
                  .example = "\"shape-tip\""},
    Key<Filament>{.name = "after_exchange",
                  .value = Text<Filament>{&Filament::after_exchange, TextRule::sequence},
                  .doc = "Given after this filament came in and its temperature was waited for.",
                  .example = "\"charge\""},
    Key<Filament>{.name = "at_last_use",
                  .value = Text<Filament>{&Filament::at_last_use, TextRule::sequence},
                  .doc =
                      "Given where the toolhead is put away for good, hot, with this filament in "
                      "it.",
                  .derived = "the toolhead's",
                  .example = "\"withdraw\""},
};

constexpr std::array kOwnFilamentKeys{
    Key<Filament>{.name = "tool",
                  .value = Index<Filament>{&Filament::tool},
                  .doc = "The T number that prints it. A toolhead serves it, and no other filament "
                         "has it.",
                  .required = true,
                  .example = "0"},
    Key<Filament>{.name = "name",
                  .value = Text<Filament>{&Filament::name, TextRule::name},
                  .doc = "The name of the filament in reports and in a matrix.",
                  .derived = "\"T0\", after the tool",
                  .example = "\"granite\""},
    Key<Filament>{.name = "material",
                  .value = Text<Filament>{&Filament::material, TextRule::name},
                  .doc =
                      "The material, a [material.NAME] if the file has any. Its values stand for "
                      "those that the filament does not have itself.",
                  .example = "\"PLA\""},
    Key<Filament>{.name = "only",
                  .value = PlaceList<Filament>{&Filament::only},
                  .doc = "Where `assign` may put the filament: nowhere but there.",
                  .derived = "anywhere",
                  .example = "[0]"},
    Key<Filament>{.name = "never",
                  .value = PlaceList<Filament>{&Filament::never},
                  .doc = "Where `assign` may not put the filament.",
                  .example = "[\"cedar\"]"},
    Key<Filament>{.name = "fixed",
                  .value = Flag<Filament>{&Filament::fixed},
                  .doc = "true: `assign` leaves the filament where it is."},
    Key<Filament>{.name = "spool_g",
                  .value = Number<Filament>{&Filament::spool_g, kAtLeastZero},
                  .doc =
                      "What is left on its spool, without the spool itself. The forecast says "
                      "whether that is enough, and `review --write` subtracts what a print took.",
                  .example = "250"},
    Key<Filament>{.name = "spool_margin",
                  .value = Number<Filament>{&Filament::spool_margin, {0, 0.9}},
                  .doc = "The share of spool_g that is not counted on."},
    Key<Filament>{.name = "exchange_s",
                  .value = Number<Filament>{&Filament::exchange_s, kMachineSeconds},
                  .doc = "How long an exchange takes that brings this filament in, taking the "
                         "other one out included.",
                  .derived = "the toolhead's",
                  .example = "40"},
    Key<Filament>{.name = "fault_odds",
                  .value = Number<Filament>{&Filament::fault_odds, kOdds},
                  .doc = "The chance that an exchange stops the machine as it brings this filament "
                         "in, besides that of the feeder. The filament that goes out does not "
                         "count. With it in the file, `assign` counts stops, too.",
                  .example = "0.004"},
};

constexpr auto kFilamentKeys = [] {
  std::array<Key<Filament>, kOwnFilamentKeys.size() + kMaterialKeys.size()> all{};
  std::size_t n = 0;
  for (const auto& key : kOwnFilamentKeys) all[n++] = key;
  for (const auto& key : kMaterialKeys) all[n++] = key;
  return all;
}();

}  // namespace

namespace sections {

constexpr Section<Machine> machine{{"machine", "[machine]", Shape::one, "The machine as a whole."},
                                   kMachineKeys};
constexpr Section<Motion> motion{
    {"motion", "[motion]", Shape::one,
     "How the machine moves, until the job sets its own (M201, M203, M204, M205, M220)."},
    kMotionKeys};
constexpr Section<Feeder> feeder{
    {"feeder", "[feeder]", Shape::one, "The device that exchanges filament."}, kFeederKeys};
constexpr Section<AttentionSettings> attention{
    {"attention", "[attention]", Shape::one,
     "When somebody is at the machine, and how long it stands still until it goes on."},
    kAttentionKeys};
constexpr Section<Toolhead> toolhead{
    {"toolhead", "[[toolhead]]", Shape::list,
     "What the machine picks up and parks. It has one heater and one nozzle."},
    kToolheadKeys};
constexpr Section<Toolhead> heater{{"heater", "heater", Shape::part, "The heater of a toolhead."},
                                   kHeaterKeys};
constexpr Section<Filament> filament{
    {"filament", "[[filament]]", Shape::list,
     "What a tool prints. A tool without one has the defaults. Each value is the filament's own, "
     "else its material's, else the default."},
    kFilamentKeys};
constexpr Section<Filament> material{
    {"material", "[material.NAME]", Shape::named, "What filaments of one material have in common."},
    kMaterialKeys};

}  // namespace sections

}  // namespace forewarm::rules
