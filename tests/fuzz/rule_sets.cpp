#include "rule_sets.h"

#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "fuzz_help.h"
#include "help/rule_texts.h"
#include "rules/load.h"

namespace forewarm::fuzz {

namespace {

// Heaters in another order than tools, and a firmware that is spoken to by heater.
constexpr const char* kByHeater = R"(version = 1
[motion]
junction_deviation_mm = 0.02
[[toolhead]]
name = "ash"
tools = [0]
heater = { index = 2, power_w = 60, full_drive_c = 500, time_constant_s = 150, dead_time_s = 4 }
[[toolhead]]
name = "birch"
tools = [1, 3]
heater = { index = 0, power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 2 }
[[toolhead]]
name = "cedar"
tools = [2]
heater = { index = 1, power_w = 40, full_drive_c = 400, time_constant_s = 210 }
[dialect]
temperature_index = "heater"
job_start = ["M117 trail map", "M555 P2"]
job_end = ["M300 S440 P200"]
)";

// One nozzle: nothing is ever parked, but filaments are exchanged.
constexpr const char* kFeederAlone = R"(version = 1
[[toolhead]]
name = "birch"
tools = [0, 1, 2, 3]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 3, max_c = 250 }
exchange_s = 20
)";

// Everything happens at once: short limits, large heaters, no time for parking.
constexpr const char* kHasty = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0, 2]
heater = { power_w = 200, full_drive_c = 900, time_constant_s = 40, max_c = 231 }
park_s = 0
pick_s = 0
exchange_s = 0
[[toolhead]]
name = "cedar"
tools = [1]
heater = { power_w = 10, full_drive_c = 260, time_constant_s = 600, dead_time_s = 30, max_c = 240 }
[[filament]]
tool = 1
max_hot_idle_s = 10
standby_c = 240
[gap]
hold_drop_c = 0
off_over_s = 30
timer_standby_s = 5
timer_off_s = 20
lead_stretch = 1
lead_extra_s = 0
)";

// A machine that is spoken to in words, and patterns that see every line.
constexpr const char* kInWords = R"(version = 1
[[toolhead]]
name = "trail"
tools = "seen"
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[dialect]
set = "WARM_HEAD {heater} {temp}"
wait = "AWAIT_HEAD {heater} {temp} ; T{tool}"
[[recognise]]
match = 'CHANGE_TO\s+(?P<tool>\d+)'
as = "change"
[[recognise]]
match = '(?i)^WARM_HEAD\s+(?P<heater>\d+)\s+(?P<temp>[\d.]+)'
as = "set"
[[recognise]]
match = '^AWAIT_HEAD\s+(?P<heater>\d+)\s+(?P<temp>[\d.]+)'
as = "wait"
[[recognise]]
match = 'rinse (begins|x)'
as = "purge-begin"
[[recognise]]
match = 'rinse ends'
as = "purge-end"
[[duration]]
match = 'F36000'
seconds = 50
)";

RuleSet loaded(const char* what, unsigned tools, std::string_view text) {
  auto rules = rules::load(text, what);
  if (!rules) broken("the rules load", render(rules.error()));
  return {what, tools, std::move(*rules)};
}

// Without its patterns: compiling them for every input would take most of the time.
RuleSet demo() {
  std::ifstream in(FOREWARM_SOURCE_DIR "/config/demo.toml", std::ios::binary);
  RuleSet set = loaded("demo", 7, std::string(std::istreambuf_iterator<char>(in), {}));
  set.rules.recognise.clear();
  set.rules.durations.clear();
  return set;
}

}  // namespace

const RuleSet& rule_set(unsigned pick) {
  static const std::vector<RuleSet> all{
      loaded("two toolheads", 2, test::kTwoToolheads),
      loaded("by heater", 4, kByHeater),
      loaded("seen", 5, rules::built_in_text()),
      loaded("feeder alone", 4, kFeederAlone),
      loaded("hasty", 3, kHasty),
      loaded("in words", 3, kInWords),
      demo(),
  };
  return all[pick % all.size()];
}

}  // namespace forewarm::fuzz
