// What a machine's record tells of its heaters, as text, as lines for the rule file, as a page, and
// as JSON.
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
// A page: of each heater and stage the measured points, the fitted lines and what is left between
// them, with the constants as the text has them.
[[nodiscard]] std::string calibration_html(const std::vector<CalibratedRecord>& records,
                                           const std::vector<record::Calibration>& heaters,
                                           const rules::Rules& rules);
[[nodiscard]] std::string calibration_json(const std::vector<record::Calibration>& heaters,
                                           const rules::Rules& rules);

// What text and page say alike: "ash (heater 0)"; a record in a line; how much of it was used; and
// the constants that are told, with a note.
[[nodiscard]] std::string heater_title(const record::Calibration& heater);
[[nodiscard]] std::string record_words(const CalibratedRecord& record);
[[nodiscard]] std::string used_words(const record::Calibration& heater);
struct Constant {
  const char* key;
  thermal::Estimate value;
  const char* note = "";
};
[[nodiscard]] std::vector<Constant> constants_of(const record::Calibration& heater);

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
