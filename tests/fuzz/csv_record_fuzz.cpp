// Bytes as a CSV of temperatures. What comes out keeps the contract of record.h, and does not
// depend on where reads end.
#include "record_check.h"

using namespace forewarm;
using namespace forewarm::fuzz;

// The first byte picks the boundaries; the rest is the record.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const rules::Rules rules = fuzz_rules(R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)");
  Cursor in(text_of(data, size));
  const unsigned pick = in.byte();
  const std::string whole = check_record(in.rest(), "a.csv", rules, SIZE_MAX);
  require(check_record(in.rest(), "a.csv", rules, chunk_of(pick)) == whole,
          "a record does not depend on where reads end");
  return 0;
}
