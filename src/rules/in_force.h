// What is in force of a rule file, key by key, and where each value comes from.
//
// Contract: parts in the order of the table of keys; toolheads, filaments and patterns in that of
// the file. Each key of a part is there once, with the value that load() gives it. What has a name
// of the user's own (a step sequence) or is one of many (a pattern) is one value. Errors are those
// of load() with settings. Pure.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "rules/paths.h"

namespace forewarm::rules {

struct InForce {
  enum class From { fallback, file, material, setting };
  std::string key;    // "park_s", "heater.max_c"; of a pattern, the pattern
  std::string value;  // as written in TOML, or "none"
  From from = From::fallback;
  std::uint64_t line = 0;     // of the value in the file; 0: it has none there
  std::string material = {};  // that has it
};

struct PartInForce {
  std::string title;  // "[gap]", "[[toolhead]] ash"
  std::vector<InForce> values;
};

[[nodiscard]] Result<std::vector<PartInForce>> in_force(std::string_view text,
                                                        const std::string& name,
                                                        std::span<const Setting> settings = {});

}  // namespace forewarm::rules
