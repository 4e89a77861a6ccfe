// The part of the table of keys that reading a machine's record needs.
#include "rules/keys.h"
#include "rules/keys_help.h"

namespace forewarm::rules {

namespace {

using Shape = SectionInfo::Shape;

constexpr std::array kRecordKeys{
    Key<RecordSettings>{
        .name = "time",
        .value = Lines<RecordSettings>{&RecordSettings::time},
        .doc = "RE2 patterns that find the time of a line of a text log, tried in order; the first "
               "one that ever fits counts. Each has one group: seconds; clock, which is HH:MM:SS "
               "with a fraction or without, and may pass midnight; or stamp, as in ISO 8601.",
        .derived = "a stamp, a clock or seconds with a point at the start of the line, after [ or "
                   "without it",
        .example = R"(['^\[(?P<seconds>[\d.]+)\]'])"},
    Key<RecordSettings>{
        .name = "full_duty",
        .value = Number<RecordSettings>{&RecordSettings::full_duty, {0, 65535, true}},
        .doc = "What stands behind @ in a temperature report at full drive."},
    Key<RecordSettings>{.name = "stop_s",
                        .value = Number<RecordSettings>{&RecordSettings::stop_s, kMachineSeconds},
                        .doc = "Standing still for so much longer than planned counts as a stop."},
};

constexpr std::array kObservations{
    Word{"temperature", int(Observe::As::temperature),
         "A heater's temperature; needs the group temp, and heater or tool. May have target, and "
         "drive (0 to 1) or drive_percent."},
    Word{"echo", int(Observe::As::echo),
         "An echo of a rewritten job; needs the groups number and what. With one such pattern, no "
         "other line is taken for an echo."},
    Word{"select", int(Observe::As::select),
         "A line that the host sent, by which a tool is selected; needs the group tool."},
    Word{"stop", int(Observe::As::stop), "The machine stands still until somebody comes."},
    Word{"go-on", int(Observe::As::go_on), "The machine goes on after a stop."},
};

constexpr std::array kObserveKeys{
    Key<Observe>{.name = "match",
                 .value = Text<Observe>{&Observe::match, TextRule::pattern},
                 .doc = "An RE2 pattern, tried anywhere in a line of a text log unless it starts "
                        "with ^. One with a word that the line must have is fast.",
                 .required = true,
                 .example = R"('paused by (user|sensor)')"},
    Key<Observe>{.name = "as",
                 .value = choice<&Observe::as, Observe>(kObservations),
                 .doc = "What the line means.",
                 .required = true,
                 .hint = "such as as = \"stop\"",
                 .example = "\"stop\""},
};

}  // namespace

namespace sections {

constexpr Section<RecordSettings> record{
    {"record", "[record]", Shape::one, "How a machine's record is read."}, kRecordKeys};
constexpr Section<Observe> observe{
    {"observe", "[[observe]]", Shape::list, "What a text log says in its own way."}, kObserveKeys};

}  // namespace sections

}  // namespace forewarm::rules
