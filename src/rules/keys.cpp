#include "rules/keys.h"
#include "rules/keys_help.h"

namespace forewarm::rules {

namespace {

// Beyond any machine's reach, so that a slip in the unit shows: a lift of 0.8 mm written as 800000.
constexpr Limits kLength{-1000, 1000};
constexpr Limits kLift{0, 1000, true};
constexpr Limits kOozing{0, 100, true};
constexpr Limits kSpeed{0, 10000, true};
constexpr Limits kShare{0, 1};
constexpr Limits kError{0, 0.5};

using Takes = StepAction::Takes;
using Shape = SectionInfo::Shape;

constexpr std::array kPolicies{
    Word{"lookahead", int(Policy::lookahead),
         "Each gap is held, put on standby or shut down, as its length allows, and is hot again "
         "just in time."},
    Word{"timers", int(Policy::timers),
         "Parked heaters go to standby after timer_standby_s and off after timer_off_s."},
    Word{"hold", int(Policy::hold), "Parked heaters never cool."},
    Word{"as-sliced", int(Policy::as_sliced), "The job stays as it is."},
};

constexpr std::array kMeanings{
    Word{"tool", 0, "T is a T number."},
    Word{"heater", 1, "T is the firmware's number of a heater."},
};

constexpr std::array kEvents{
    Word{"change", int(Recognise::As::change),
         "A tool is selected; needs the group tool, or the key tool."},
    Word{"set", int(Recognise::As::set),
         "A target is given; needs the group temp, and heater or tool, or the key tool."},
    Word{"wait", int(Recognise::As::wait),
         "A target is given and waited for; needs the same groups as set."},
    Word{"purge-begin", int(Recognise::As::purge_begin),
         "Filament extruded from here on is purged."},
    Word{"purge-end", int(Recognise::As::purge_end), "Purging ends."},
    Word{"layer", int(Recognise::As::layer), "A layer begins."},
    Word{"pause", int(Recognise::As::pause),
         "The machine stops until somebody goes on, as at M0, M1, M25, M226 and M600."},
};

constexpr std::array kAtPause{
    Word{"standby", int(GapSettings::AtPause::standby), "It waits at standby_c."},
    Word{"off", int(GapSettings::AtPause::off), "It is shut down."},
    Word{"as-planned", int(GapSettings::AtPause::as_planned),
         "As if the pause took no time: it may wait hot."},
};

constexpr std::array kGapKeys{
    Key<GapSettings>{.name = "policy",
                     .value = choice<&GapSettings::policy, GapSettings>(kPolicies),
                     .doc = "What parked heaters do."},
    Key<GapSettings>{.name = "hold_drop_c",
                     .value = Number<GapSettings>{&GapSettings::hold_drop_c, {0, 1000}},
                     .doc = "A gap in which the heater would cool by less is held."},
    Key<GapSettings>{.name = "off_over_s",
                     .value = Number<GapSettings>{&GapSettings::off_over_s, kAtLeastZero, "best",
                                                  &GapSettings::off_over_best},
                     .doc = "A gap longer than this is shut down at its start. \"best\" shuts down "
                            "where standby would cost as much as a restart, by the three costs."},
    Key<GapSettings>{.name = "hot_idle_cost_per_h",
                     .value = Number<GapSettings>{&GapSettings::hot_idle_cost_per_h, kAtLeastZero},
                     .doc = "What an hour of hot idle costs, in any currency."},
    Key<GapSettings>{.name = "energy_cost_per_kwh",
                     .value = Number<GapSettings>{&GapSettings::energy_cost_per_kwh, kAtLeastZero},
                     .doc = "What a kilowatt-hour costs, in the same currency."},
    Key<GapSettings>{.name = "restart_cost",
                     .value = Number<GapSettings>{&GapSettings::restart_cost, kAtLeastZero},
                     .doc = "What heating up from off costs each time, in the same currency: wear, "
                            "and risk."},
    Key<GapSettings>{.name = "timer_standby_s",
                     .value = Number<GapSettings>{&GapSettings::timer_standby_s, kAtLeastZero},
                     .doc = "Policy \"timers\" only: how long after parking a heater goes to "
                            "standby."},
    Key<GapSettings>{.name = "timer_off_s",
                     .value = Number<GapSettings>{&GapSettings::timer_off_s, kAtLeastZero},
                     .doc = "Policy \"timers\" only: how long after parking a heater is switched "
                            "off."},
    Key<GapSettings>{.name = "at_pause",
                     .value = choice<&GapSettings::at_pause, GapSettings>(kAtPause),
                     .doc = "Policy \"lookahead\" only: what a parked heater does over a pause "
                            "that the job asks for. It is heated again after the pause."},
    Key<GapSettings>{.name = "on_time",
                     .value = Number<GapSettings>{&GapSettings::on_time, {0.5, 0.999999}},
                     .doc = "The share of uses that is not late: preheats are given early enough "
                            "for it, errors being normally distributed."},
    Key<GapSettings>{.name = "time_error",
                     .value = Number<GapSettings>{&GapSettings::time_error, kError},
                     .doc =
                         "The standard deviation of modelled time between a preheat and its use, "
                         "as a share of that time."},
    Key<GapSettings>{.name = "heater_error",
                     .value = Number<GapSettings>{&GapSettings::heater_error, kError},
                     .doc = "The standard deviation of what full drive adds to ambient, as a share "
                            "of it."},
    Key<GapSettings>{.name = "exchange_spread_s",
                     .value = Number<GapSettings>{&GapSettings::exchange_spread_s, kMachineSeconds},
                     .doc = "The standard deviation of each exchange between a preheat and its "
                            "use."},
    Key<GapSettings>{.name = "park_spread_s",
                     .value = Number<GapSettings>{&GapSettings::park_spread_s, kMachineSeconds},
                     .doc = "The standard deviation of each parking and picking between them."},
    Key<GapSettings>{.name = "lead_stretch",
                     .value = Number<GapSettings>{&GapSettings::lead_stretch, {0, 100}},
                     .doc = "Heat-up time is taken to be longer by this share. Where it or "
                            "lead_extra_s is given, the two alone say the lead; 0.1 where only the "
                            "other is given.",
                     .example = "0.1"},
    Key<GapSettings>{.name = "lead_extra_s",
                     .value = Number<GapSettings>{&GapSettings::lead_extra_s, kMachineSeconds},
                     .doc =
                         "Preheats are given so much earlier. Where it or lead_stretch is given, "
                         "the two alone say the lead; 4 where only the other is given.",
                     .example = "4"},
};

constexpr std::array kStepKeys{
    Key<Step>{.name = "feed_mm",
              .value = StepAction{Step::Action::feed, Takes::number, kLength, {"speed_mm_s"}},
              .doc = "Pushes filament, or pulls it where the number is negative.",
              .example = "-12"},
    Key<Step>{.name = "lift_mm",
              .value = StepAction{Step::Action::lift, Takes::number, kLift, {"speed_mm_s"}},
              .doc = "Raises the nozzle.",
              .example = "0.8"},
    Key<Step>{.name = "back",
              .value = StepAction{Step::Action::back, Takes::true_only},
              .doc = "Returns to where the sequence started.",
              .example = "true"},
    Key<Step>{.name = "dwell_s",
              .value = StepAction{Step::Action::dwell, Takes::number, kMachineSeconds},
              .doc = "Stands still.",
              .example = "1.5"},
    Key<Step>{.name = "move_mm",
              .value = StepAction{Step::Action::move, Takes::position, {-1e6, 1e6}, {"speed_mm_s"}},
              .doc = "Goes to x, y, z of the machine, any of them, within travel_mm.",
              .example = "{ x = 310, y = 20 }"},
    Key<Step>{.name = "temp_c",
              .value = StepAction{Step::Action::temp, Takes::number, kTemperature},
              .doc = "Sets the heater without waiting. No more than max_c of the toolhead.",
              .example = "200"},
    Key<Step>{.name = "temp_offset_c",
              .value = StepAction{Step::Action::temp_offset, Takes::number, {-500, 500}},
              .doc = "Sets the heater so far from the working temperature, without waiting.",
              .example = "-15"},
    Key<Step>{.name = "wait",
              .value = StepAction{Step::Action::wait, Takes::true_only},
              .doc = "Waits until the heater is at its target.",
              .example = "true"},
    Key<Step>{.name = "fan",
              .value = StepAction{Step::Action::fan, Takes::number, kShare},
              .doc = "Sets the part fan, 1 being full speed.",
              .example = "1"},
    Key<Step>{.name = "gcode",
              .value = StepAction{Step::Action::gcode, Takes::line, {}, {"seconds"}},
              .doc = "Writes a line of G-code as it is.",
              .example = "\"M400\""},
    Key<Step>{
        .name = "make_up_mm_per_min",
        .value =
            StepAction{Step::Action::make_up, Takes::number, kOozing, {"at_most_mm", "speed_mm_s"}},
        .doc = "Pushes so much filament for each minute that the heater was hot while the "
               "toolhead was parked, in place of what has oozed. Only for after_pick and "
               "after_exchange.",
        .example = "0.2"},
    Key<Step>{.name = "speed_mm_s",
              .value = Number<Step>{&Step::speed_mm_s, kSpeed},
              .doc = "How fast the step moves. Feeding forwards needs it where the toolhead has a "
                     "max_flow_mm3_s.",
              .derived = "the feed in force, and on the way back that of the fastest move_mm if it "
                         "is more",
              .example = "35"},
    Key<Step>{.name = "at_most_mm",
              .value = Number<Step>{&Step::at_most_mm, kLift},
              .doc = "How much make_up_mm_per_min pushes at the most, however long it was hot.",
              .example = "3"},
    Key<Step>{.name = "seconds",
              .value = Number<Step>{&Step::seconds, kMachineSeconds},
              .doc = "How long the line takes.",
              .hint = "a pause is dwell_s"},
};

constexpr std::array kDialectKeys{
    Key<Dialect>{.name = "set",
                 .value = Text<Dialect>{&Dialect::set, TextRule::line},
                 .doc =
                     "The command that sets a target. {tool} is the T number concerned (the next "
                     "use's, else the last's), {heater} is index of the heater, {temp} the "
                     "target; {temp} and one of the others are needed."},
    Key<Dialect>{.name = "wait",
                 .value = Text<Dialect>{&Dialect::wait, TextRule::line},
                 .doc = "The command that sets a target and waits for it, with the same "
                        "placeholders as set, and {least}, the target less wait_window_c: for "
                        "firmware that can wait for a minimum."},
    Key<Dialect>{.name = "wait_takes_s",
                 .value = Number<Dialect>{&Dialect::wait_takes_s, {0, 3600}},
                 .doc = "What each wait takes at least, although all is warm; one for {least} "
                        "takes nothing then.",
                 .example = "0.5"},
    Key<Dialect>{.name = "wait_window_c",
                 .value = Number<Dialect>{&Dialect::wait_window_c, {0, 100}},
                 .doc = "How far below the target {least} is, at which wait is over. Over 0 where "
                        "wait has {least}, and only there.",
                 .example = "2"},
    Key<Dialect>{.name = "temperature_index",
                 .value = choice<&Dialect::temperature_index_is_heater, Dialect>(kMeanings),
                 .doc =
                     "What T means on the job's own M104 and M109. With \"heater\", set and wait "
                     "have {heater} in place of {tool} unless they are given."},
    Key<Dialect>{.name = "job_start",
                 .value = Lines<Dialect>{&Dialect::job_start},
                 .doc = "Lines inserted where planning starts, for example to switch a firmware's "
                        "own standby timers off.",
                 .example = "[\"M300 S440 P200\"]"},
    Key<Dialect>{.name = "job_end",
                 .value = Lines<Dialect>{&Dialect::job_end},
                 .doc = "Lines inserted after the last use.",
                 .example = "[\"M300 S440 P200\"]"},
    Key<Dialect>{.name = "echo",
                 .value = LineOrLines<Dialect>{&Dialect::echo},
                 .doc = "A line, or several, by which the machine says where it is, around each "
                        "change of tool: {text} is what it says. Its record then tells when it "
                        "got there.",
                 .example = "\"M118 {text}\""},
};

constexpr std::array kRecogniseKeys{
    Key<Recognise>{.name = "match",
                   .value = Text<Recognise>{&Recognise::match, TextRule::pattern},
                   .doc = "An RE2 pattern, tried anywhere in a line unless it starts with ^. A "
                          "pattern that starts with ^ and the line's first characters is fast.",
                   .required = true,
                   .example = R"('^CHANGE_TO\s+(?P<tool>\d+)')"},
    Key<Recognise>{.name = "as",
                   .value = choice<&Recognise::as, Recognise>(kEvents),
                   .doc = "What the line means.",
                   .required = true,
                   .hint = "such as as = \"change\"",
                   .example = "\"change\""},
    Key<Recognise>{.name = "tool",
                   .value = Index<Recognise>{&Recognise::tool},
                   .doc = "The T number where the line has none: for a change, a set or a wait "
                          "whose pattern has no group tool, or where that took no part. `--map` "
                          "cannot give such a line another tool.",
                   .example = "0"},
};

constexpr std::array kDurationKeys{
    Key<Duration>{.name = "match",
                  .value = Text<Duration>{&Duration::match, TextRule::pattern},
                  .doc = "An RE2 pattern, tried anywhere in a line unless it starts with ^.",
                  .required = true,
                  .example = "'^G28'"},
    Key<Duration>{.name = "seconds",
                  .value = Number<Duration>{&Duration::seconds, kMachineSeconds},
                  .doc = "How long such a line takes.",
                  .required = true,
                  .example = "22"},
};

}  // namespace

const char* name_of(Policy policy) {
  for (const Word& word : kPolicies) {
    if (word.value == int(policy)) return word.name.data();  // a literal, so it ends in a 0
  }
  return "";
}

namespace sections {

constexpr Section<GapSettings> gap{
    {"gap", "[gap]", Shape::one, "How the gaps between the uses of a toolhead are decided."},
    kGapKeys};
constexpr Section<Step> steps{
    {"steps", "[steps]", Shape::sequences,
     "Step sequences, under names of your own. They act where a toolhead, filament or material "
     "names them. A step has one action, and what a sequence leaves changed is put back."},
    kStepKeys};
constexpr Section<Dialect> dialect{
    {"dialect", "[dialect]", Shape::one, "What is written into jobs."}, kDialectKeys};
constexpr Section<Recognise> recognise{
    {"recognise", "[[recognise]]", Shape::list, "What the job says in its own way."},
    kRecogniseKeys};
constexpr Section<Duration> duration{{"duration", "[[duration]]", Shape::list,
                                      "Commands that take time which the job does not show."},
                                     kDurationKeys};

namespace {
// A section in the file.
constexpr Key<Rules> part(std::string_view name, const SectionInfo& section) {
  return {.name = name, .value = Part{&section}, .doc = {}};
}

constexpr std::array kFileKeys{
    Key<Rules>{.name = "version",
               .value = Version{},
               .doc = "The version of this format, always 1.",
               .required = true,
               .hint = "start with: version = 1",
               .example = "1"},
    part("machine", machine),
    part("motion", motion),
    part("feeder", feeder),
    part("attention", attention),
    Key<Rules>{.name = "toolhead",
               .value = Part{&toolhead},
               .doc = {},
               .required = true,
               .hint = "a rule file has at least one [[toolhead]]"},
    part("filament", filament),
    part("material", material),
    part("gap", gap),
    part("steps", steps),
    part("dialect", dialect),
    part("recognise", recognise),
    part("duration", duration),
    part("record", record),
    part("observe", observe),
};
}  // namespace

constexpr Section<Rules> file{{"", "the rule file", Shape::file, "The top level of a rule file."},
                              kFileKeys};

}  // namespace sections

}  // namespace forewarm::rules
