// What is in force, and where it comes from.
#include "rules/in_force.h"

#include <map>

#include "rules/key_info.h"
#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;
using rules::InForce;

namespace {

std::vector<rules::PartInForce> in_force(const std::string& text,
                                         const std::vector<rules::Setting>& settings = {}) {
  auto parts = rules::in_force(text, "rules.toml", settings);
  if (!parts) FAIL(render(parts.error()));
  return *parts;
}

// "20, file:3": a value and where it comes from.
std::string value(const std::vector<rules::PartInForce>& parts, const std::string& part,
                  const std::string& key) {
  for (const rules::PartInForce& p : parts) {
    if (p.title != part) continue;
    for (const InForce& v : p.values) {
      if (v.key != key) continue;
      const char* const words[] = {"default", "file", "material", "setting"};
      return v.value + ", " + words[int(v.from)] +
             (v.line > 0 ? ":" + std::to_string(v.line) : "") +
             (v.material.empty() ? "" : " " + v.material);
    }
  }
  return "not there";
}

}  // namespace

TEST_CASE("in force: each key of each section is there once, with its default") {
  std::map<std::string, std::map<std::string, int>> seen;
  const auto parts = in_force(kMinimal + "[[filament]]\ntool = 0\n");
  for (const rules::PartInForce& part : parts) {
    for (const InForce& v : part.values) ++seen[part.title][v.key];
  }
  int keys = 0;
  for (const rules::KeyInfo& info : rules::all_keys()) {
    using Shape = rules::SectionInfo::Shape;
    std::string part(info.section->header), key(info.name);
    if (info.section == &rules::sections::heater) {
      part = "[[toolhead]] ash";
      key = "heater." + key;
    } else if (info.section == &rules::sections::toolhead) {
      part = "[[toolhead]] ash";
    } else if (info.section == &rules::sections::filament) {
      part = "[[filament]] T0";
    } else if (info.section->shape != Shape::one) {
      continue;
    }
    if (info.type == "table") continue;
    CAPTURE(part, key);
    CHECK(seen[part][key] == 1);
    ++keys;
    // Where the table of keys has a plain default, it is what is in force.
    const bool plain =
        !info.default_text.empty() &&
        std::string("0123456789\"tfn{").find(info.default_text[0]) != std::string::npos;
    const std::string said = value(parts, part, key);
    if (plain && said.ends_with(", default") && info.name != "name" && info.name != "time" &&
        info.name != "cool_time_constant_s" && info.name != "at_last_use" && info.name != "only" &&
        info.name != "index" && info.name != "travel_mm" && info.name != "speed_mm_s") {
      CHECK(said == info.default_text + ", default");
    }
  }
  CHECK(keys > 70);
}

TEST_CASE("in force: from the file, a material or a setting") {
  const std::string text = kVersion + R"([[toolhead]]
name = "ash"
tools = [0, 3]
park_s = 9
[toolhead.heater]
power_w = 50
full_drive_c = 450
time_constant_s = 180
[material.PLA]
standby_c = 150
density_g_cm3 = 1.3
[[filament]]
tool = 3
material = "PLA"
density_g_cm3 = 1.2
only = [0, "ash"]
[machine]
travel_mm = { x = [0, 310] }
[motion]
rests_at = ['^M106\b']
)";
  const auto plain = in_force(text);
  CHECK(value(plain, "[[toolhead]] ash", "park_s") == "9, file:5");
  CHECK(value(plain, "[[toolhead]] ash", "tools") == "[0, 3], file:4");
  CHECK(value(plain, "[[toolhead]] ash", "heater.power_w") == "50, file:7");
  CHECK(value(plain, "[[filament]] T3", "standby_c") == "150, material:11 PLA");
  CHECK(value(plain, "[[filament]] T3", "density_g_cm3") == "1.2, file:16");
  CHECK(value(plain, "[[filament]] T3", "only") == "[0, \"ash\"], file:17");
  CHECK(value(plain, "[[filament]] T3", "name") == "\"T3\", default");
  CHECK(value(plain, "[machine]", "travel_mm") == "{ x = [0, 310] }, file:19");
  CHECK(value(plain, "[motion]", "rests_at") == "['^M106\\b'], file:21");
  CHECK(value(plain, "[gap]", "off_over_s") == "1500, default");
  const auto set = in_force(text, {{"gap.off_over_s", "best"},
                                   {"toolhead.ash.park_s", "8"},
                                   {"material.PLA.standby_c", "140"},
                                   {"machine.travel_mm.y", "[0, 200]"}});
  CHECK(value(set, "[gap]", "off_over_s") == "\"best\", setting");
  CHECK(value(set, "[[toolhead]] ash", "park_s") == "8, setting");
  CHECK(value(set, "[[filament]] T3", "standby_c") == "140, setting PLA");
  CHECK(value(set, "[machine]", "travel_mm") == "{ x = [0, 310], y = [0, 200] }, setting:19");
}

TEST_CASE("in force: patterns and sequences are one value each") {
  const auto parts = in_force(kMinimal + R"([steps]
tuck = [ { feed_mm = -1 }, { dwell_s = 1 } ]
[[recognise]]
match = "^PICK 'A'"
as = "change"
tool = 0
[[duration]]
match = '^G28'
seconds = 2.5
[[observe]]
match = 'empty'
as = "stop"
)");
  CHECK(value(parts, "[steps]", "tuck") == "2 steps, file:7");
  CHECK(value(parts, "[[recognise]]", "\"^PICK 'A'\"") == "as = \"change\", tool = 0, file:8");
  CHECK(value(parts, "[[duration]]", "'^G28'") == "seconds = 2.5, file:12");
  CHECK(value(parts, "[[observe]]", "'empty'") == "as = \"stop\", file:15");
}

TEST_CASE("in force: what load() refuses is refused alike") {
  CHECK(rules::in_force("version = 2\n", "r").error().message == "version must be 1, not 2");
  const std::vector<rules::Setting> wrong{{"gap.off", "1"}};
  CHECK(rules::in_force(kMinimal, "r", wrong).error().kind == Error::Kind::usage);
}
