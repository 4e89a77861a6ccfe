// Bytes as a host's text log, by the built-in ways and by a rule file's own patterns. What comes
// out keeps the contract of record.h, and does not depend on where reads end.
#include "record_check.h"

using namespace forewarm;
using namespace forewarm::fuzz;

// The first byte picks the boundaries and the rules; the rest is the log.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const std::string one = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";
  static const rules::Rules built_in = fuzz_rules(one);
  static const rules::Rules own = fuzz_rules(one + R"([[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[record]
time = ['^<(?P<seconds>[\d.]+)>', '^(?P<clock>\d\d:\d\d:\d\d)', 'at (?P<stamp>\S+)']
[[observe]]
match = 'nozzle (?P<tool>\d+) is (?P<temp>\S+)( of (?P<target>\S+))?( by (?P<drive>\S+))?'
as = "temperature"
[[observe]]
match = 'block (?P<heater>\w+) (?P<temp>\S+)'
as = "temperature"
[[observe]]
match = 'did (?P<what>[a-z]+) (?P<number>\d+)'
as = "echo"
[[observe]]
match = 'paused'
as = "stop"
[[observe]]
match = 'goes on|resumed'
as = "go-on"
)");
  Cursor in(text_of(data, size));
  const unsigned pick = in.byte();
  const rules::Rules& rules = pick % 2 == 0 ? built_in : own;
  const std::string whole = check_record(in.rest(), "a.log", rules, SIZE_MAX);
  require(check_record(in.rest(), "a.log", rules, chunk_of(pick / 2)) == whole,
          "a record does not depend on where reads end");
  return 0;
}
