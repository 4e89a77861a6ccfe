// Keys by path, and values in place of a rule file's.
#include "rules/paths.h"

#include <catch2/catch.hpp>

#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;
using rules::parse_path;
using rules::Rules;
using rules::Setting;

namespace {

const std::string kFile = kMinimal + R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 1
material = "PLA"
[material.PLA]
standby_c = 170
[gap]
off_over_s = 900
[machine]
heating_limit_w = 120
)";

Rules set(const std::vector<Setting>& settings) {
  auto r = rules::load(kFile, "rules.toml", settings);
  if (!r) FAIL(render(r.error()));
  return *r;
}

std::string refused(const std::vector<Setting>& settings) {
  const auto r = rules::load(kFile, "rules.toml", settings);
  return r ? "accepted" : render(r.error());
}

}  // namespace

TEST_CASE("paths: what they name") {
  struct Row {
    const char *path, *header, *key, *name, *axis;
  };
  for (const Row& row : {
           Row{"off_over_s", "[gap]", "off_over_s", "", ""},
           Row{"gap.off_over_s", "[gap]", "off_over_s", "", ""},
           Row{"gap.policy", "[gap]", "policy", "", ""},
           Row{"machine.ambient_c", "[machine]", "ambient_c", "", ""},
           Row{"motion.max_speed_mm_s.z", "[motion]", "max_speed_mm_s", "", "z"},
           Row{"machine.travel_mm.x", "[machine]", "travel_mm", "", "x"},
           Row{"toolhead.ash.park_s", "[[toolhead]]", "park_s", "ash", ""},
           Row{"toolhead.ash.heater.max_c", "heater", "max_c", "ash", ""},
           Row{"toolhead.a.b.heater.max_c", "heater", "max_c", "a.b", ""},
           Row{"toolhead.x.park_s", "[[toolhead]]", "park_s", "x", ""},
           Row{"filament.T12.standby_c", "[[filament]]", "standby_c", "T12", ""},
           Row{"filament.T0.only", "[[filament]]", "only", "T0", ""},
           Row{"material.PLA, wood.filled.standby_c", "[material.NAME]", "standby_c",
               "PLA, wood.filled", ""},
       }) {
    INFO(row.path);
    const auto path = parse_path(row.path);
    REQUIRE(path);
    CHECK(path->key.section->header == row.header);
    CHECK(path->key.name == row.key);
    CHECK(path->name == row.name);
    CHECK(path->axis == row.axis);
  }
}

TEST_CASE("paths that name nothing") {
  struct Row {
    const char *path, *says;
  };
  for (const Row& row : {
           Row{"off_over",
               "no key of [gap] is called \"off_over\"\n  hint: did you mean "
               "\"off_over_s\"?"},
           Row{"version", "\"version\" has no path\n  hint: it is always 1"},
           Row{"gap", "[gap] is a section, not a key\n  hint: such as gap.hold_drop_c"},
           Row{"toolhead",
               "[[toolhead]] is a section, not a key\n  hint: such as toolhead.ash.park_s"},
           Row{"heater",
               "heater is a section, not a key\n  hint: such as toolhead.ash.heater.power_w"},
           Row{"recognise",
               "[[recognise]] is a section, not a key\n  hint: what is in it has no name by which "
               "a "
               "path could find it"},
           Row{"park_s",
               "no key of [gap] is called \"park_s\"\n  hint: such as toolhead.ash.park_s"},
           Row{"gp.off_over_s",
               "no section with paths is called \"gp\"\n  hint: did you mean \"gap\"?"},
           Row{"steps.tuck.feed_mm",
               "no section with paths is called \"steps\"\n  hint: what is in it has no name by "
               "which a path could find it"},
           Row{"feeder.", "no key of [feeder] is called \"\"\n  hint: known here: fault_odds"},
           Row{"gap.x.off_over_s",
               "\"gap.x.off_over_s\" has too many parts\n  hint: such as gap.off_over_s"},
           Row{"toolhead.park_s",
               "\"toolhead.park_s\" does not say which toolhead\n  hint: such as "
               "toolhead.ash.park_s"},
           Row{"toolhead.heater.max_c",
               "\"toolhead.heater.max_c\" does not say which toolhead\n  hint: such as "
               "toolhead.ash.park_s"},
           Row{"toolhead.ash.prk_s",
               "no key of [[toolhead]] is called \"prk_s\"\n  hint: did you mean \"park_s\"?"},
           Row{"toolhead.ash.heater.maxc",
               "no key of heater is called \"maxc\"\n  hint: did you mean \"max_c\"?"},
           Row{"filament.standby_c",
               "\"filament.standby_c\" does not say which filament\n  hint: such as "
               "filament.T0.standby_c"},
           Row{"filament.moss.standby_c",
               "\"moss\" is no T number\n  hint: such as filament.T0.standby_c"},
           Row{"filament.T-1.standby_c",
               "\"T-1\" is no T number\n  hint: such as filament.T0.standby_c"},
           Row{"filament.T99999.standby_c",
               "\"T99999\" is no T number\n  hint: such as filament.T0.standby_c"},
           Row{"material.standby_c",
               "\"material.standby_c\" does not say which material\n  hint: such as "
               "material.PLA.standby_c"},
           Row{"gap.off_over_s.x", "off_over_s has no axes"},
       }) {
    INFO(row.path);
    const auto path = parse_path(row.path);
    REQUIRE_FALSE(path);
    CHECK(path.error().kind == Error::Kind::usage);
    CHECK(render(path.error()) == row.says);
  }
}

TEST_CASE("a key of the heater is none of the toolhead, and no path at all names none") {
  CHECK(parse_path("toolhead.ash.max_c").error().message ==
        "no key of [[toolhead]] is called \"max_c\"");
  CHECK(parse_path("").error().message == "no key of [gap] is called \"\"");
}

TEST_CASE("every key of a section with paths has one") {
  int paths = 0;
  for (const rules::KeyInfo& info : rules::all_keys()) {
    using Shape = rules::SectionInfo::Shape;
    std::string before;
    if (info.section == &rules::sections::heater) {
      before = "toolhead.ash.heater.";
    } else if (info.section == &rules::sections::toolhead) {
      before = "toolhead.ash.";
    } else if (info.section == &rules::sections::filament) {
      before = "filament.T0.";
    } else if (info.section->shape == Shape::named) {
      before = "material.PLA.";
    } else if (info.section->shape == Shape::one) {
      before = std::string(info.section->name) + '.';
    }
    if (before.empty() || info.type == "table") continue;
    INFO(before << info.name);
    const auto path = parse_path(before + std::string(info.name));
    REQUIRE(path);
    CHECK(path->key.section == info.section);
    CHECK(path->key.name == info.name);
    ++paths;
  }
  CHECK(paths > 60);
}

TEST_CASE("values in place of the file's") {
  CHECK(set({}).gap.off_over_s == 900);
  CHECK(set({{"off_over_s", "1200"}}).gap.off_over_s == 1200);
  CHECK(set({{"gap.off_over_s", "1200"}, {"off_over_s", "1300"}}).gap.off_over_s == 1300);
  CHECK(set({{"off_over_s", "best"}}).gap.off_over_best);
  CHECK(set({{"gap.policy", "timers"}}).gap.policy == rules::Policy::timers);
  CHECK(set({{"gap.policy", "\"hold\""}}).gap.policy == rules::Policy::hold);
  CHECK(set({{"gap.hold_drop_c", "3.5"}}).gap.hold_drop_c == 3.5);
  CHECK(set({{"feeder.fault_odds", "0.5"}}).feeder.fault_odds == 0.5);  // [feeder] is added
  CHECK(set({{"motion.max_speed_mm_s.z", "20"}}).motion.max_speed_mm_s ==
        rules::Axes{300, 300, 20, 60});
  CHECK(set({{"motion.jerk_mm_s", "{ e = 2 }"}}).motion.jerk_mm_s[3] == 2);
  CHECK(set({{"machine.travel_mm.x", "[0, 320]"}}).machine.travel_mm[0].high == 320);
  CHECK(set({{"toolhead.birch.park_s", "5"}}).toolheads[1].park_s == 5);
  CHECK(set({{"toolhead.birch.park_s", "5"}}).toolheads[0].park_s == 7);
  CHECK(set({{"toolhead.ash.heater.power_w", "40"}}).toolheads[0].hotend.power_w == 40);
  // What depends on it follows.
  CHECK(set({{"machine.ambient_c", "30"}}).toolheads[1].hotend.ambient_c == 30);
  CHECK(set({{"material.PLA.standby_c", "150"}}).filament(1).standby_c == 150);
  CHECK(set({{"filament.T1.standby_c", "160"}}).filament(1).standby_c == 160);
  CHECK(set({{"filament.T2.material", "PLA"}}).filament(2).standby_c == 170);  // it is added
  CHECK(set({{"filament.T2.name", "moss green"}}).filament(2).name == "moss green");
  CHECK(set({{"material.PETG.standby_c", "190"}, {"filament.T2.material", "PETG"}})
            .filament(2)
            .standby_c == 190);
  CHECK(set({{"filament.T1.fixed", "true"}}).filament(1).fixed);
  CHECK(set({{"dialect.job_end", "[\"M300\"]"}}).dialect.job_end ==
        std::vector<std::string>{"M300"});
}

TEST_CASE("the hash tells other values from the file's") {
  const auto hash = accepted(kFile).hash;
  CHECK(set({}).hash == hash);
  CHECK(set({{"off_over_s", "900"}}).hash != hash);
  CHECK(set({{"off_over_s", "900"}}).hash != set({{"off_over_s", "901"}}).hash);
  // Of the settings as they are written, in their order.
  CHECK(set({{"off_over_s", "900"}}).hash != set({{"off_over_s", "900.0"}}).hash);
}

TEST_CASE("values that are refused, as if they stood in the file") {
  CHECK(refused({{"off_over_s", "-1"}}) ==
        "off_over_s = -1: off_over_s must be at least 0, not -1");
  CHECK(refused({{"off_over_s", "bset"}}) ==
        "off_over_s = bset: off_over_s must be a number or \"best\", not \"bset\"");
  CHECK(refused({{"gap.policy", "lookahed"}}) ==
        "gap.policy = lookahed: unknown policy \"lookahed\"\n  hint: did you mean \"lookahead\"?");
  CHECK(refused({{"gap.hold_drop_c", "true"}}) ==
        "gap.hold_drop_c = true: hold_drop_c must be a number, not a boolean");
  CHECK(refused({{"gap.hold_drop_c", "1, x = 2"}}) ==
        "gap.hold_drop_c = 1, x = 2: hold_drop_c must be a number, not a string");
  CHECK(refused({{"gap.hold_drop_c", "1\noff_over_s = 2"}}) ==
        "gap.hold_drop_c = 1\noff_over_s = 2: hold_drop_c must be a number, not a string");
  CHECK(refused({{"toolhead.ahs.park_s", "1"}}) ==
        "toolhead.ahs.park_s = 1: there is no toolhead \"ahs\"\n  hint: did you mean \"ash\"?");
  CHECK(refused({{"filament.T7.standby_c", "170"}}) ==
        "filament.T7.standby_c = 170: no toolhead serves T7\n  hint: served are T0, T1, T2");
  CHECK(
      refused({{"material.PLAY.standby_c", "170"}}) ==
      "material.PLAY.standby_c = 170: no filament has the material \"PLAY\"\n  hint: did you mean "
      "\"PLA\"?");
  CHECK(refused({{"toolhead.ash.before_park", "tuck"}}) ==
        "toolhead.ash.before_park = tuck: there is no sequence \"tuck\" in [steps]");
  CHECK(refused({{"off_over_s", "1"}, {"motion.time_scale", "11"}, {"gap.on_time", "0.9"}}) ==
        "motion.time_scale = 11: time_scale must be from 0.1 to 10, not 11");
  CHECK(refused({{"gp.x", "1"}}).find("gp.x = 1: no section with paths is called \"gp\"") == 0);
  CHECK(refused({{"machine.heating_limit_w", "40"}}) ==
        "machine.heating_limit_w = 40: power_w = 50 of \"ash\" alone is more than "
        "machine.heating_limit_w, which is 40");
  // Where the file itself is wrong, that is said as ever.
  const auto wrong =
      rules::load("version = 2\n", "rules.toml", std::vector<Setting>{{"off_over_s", "1"}});
  REQUIRE_FALSE(wrong);
  CHECK(render(wrong.error()).find("rules.toml:1:11: version must be 1, not 2") == 0);
}
