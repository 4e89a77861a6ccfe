// What a machine's record tells of its heaters, as text, as lines for the rule file, and as JSON.
//
// Pure. Names from records are made harmless.
#pragma once

#include <string>
#include <vector>

#include "record/calibrate.h"
#include "report/format.h"
#include "rules/paths.h"

namespace forewarm::report {

struct CalibratedRecord {
  std::string path;
  record::Summary summary;
};

// `rules` names the toolheads.
[[nodiscard]] std::string calibration_text(const std::vector<CalibratedRecord>& records,
                                           const std::vector<record::Calibration>& heaters,
                                           const rules::Rules& rules,
                                           std::size_t width = kTextWidth);
[[nodiscard]] std::string calibration_json(const std::vector<record::Calibration>& heaters,
                                           const rules::Rules& rules);

// The keys of a heater that the record tells (told_keys()), with their values as they go into a
// rule file: of as many digits as their standard errors leave.
struct KeyValue {
  std::string key, value;
};
[[nodiscard]] std::vector<KeyValue> heater_values(const record::Calibration& heater,
                                                  const rules::Rules& rules);
// Rounded to the first digit of its standard error, as written in TOML.
[[nodiscard]] std::string value_text(const thermal::Estimate& estimate);
// "450.3 +- 1.2": both to the second digit of the standard error, and no more than `most_digits`
// behind the point; the value alone where none is known.
[[nodiscard]] std::string estimate_text(const thermal::Estimate& estimate, int most_digits = 4);

}  // namespace forewarm::report
