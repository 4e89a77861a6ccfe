// What to change in a rule file, from what prints have shown.
//
// A value is `certain` enough to be written where at least kLeastObservations stand behind it and
// it differs from the one in force by more than two standard errors; odds, where a stop was seen or
// kLeastWithoutStop changes were none.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "record/calibrate.h"
#include "review/review.h"

namespace forewarm::review {

inline constexpr std::size_t kLeastObservations = 5;
inline constexpr std::uint64_t kLeastWithoutStop = 100;

struct Suggestion {
  std::string key;  // its path, as --sweep takes it
  std::optional<double> now;
  thermal::Estimate better;
  std::size_t observations = 0;
  std::string why;
  bool certain = false;
};

// `printed`: the rules that the job was rewritten by; `now`: those that are to be changed.
[[nodiscard]] std::vector<Suggestion> suggest(const Schedule& schedule, const rules::Rules& printed,
                                              const rules::Rules& now, const Review& review,
                                              const std::vector<record::Calibration>& heaters);

}  // namespace forewarm::review
