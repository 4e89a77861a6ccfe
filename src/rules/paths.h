// Keys of a rule file by path, and values in place of the file's.
//
//   gap.off_over_s                 SECTION.KEY
//   motion.max_speed_mm_s.z        one axis
//   toolhead.birch.park_s          the toolhead of that name
//   toolhead.birch.heater.max_c
//   filament.T3.standby_c          the filament of that tool
//   material.PLA.standby_c
//
// A word without a dot is a key of [gap]. Names may hold dots. What has no name of its own in the
// file (steps, patterns) has no path.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "base/error.h"
#include "rules/key_info.h"
#include "rules/rules.h"

namespace forewarm::rules {

struct KeyPath {
  KeyInfo key;
  std::string name;  // of the toolhead or material, "T3" of a filament; else empty
  std::string axis;  // "x", or empty for the key as a whole
};

// Errors are of kind `usage`, with the nearest known word as the hint. Whether there is a toolhead
// or material of that name depends on the file, and is not asked here.
[[nodiscard]] Result<KeyPath> parse_path(std::string_view path);

// A value as written in TOML. Quotes may be left out where the key takes a word: `hold`.
struct Setting {
  std::string path, value;
};

// "PATH=VALUE", with blanks around both left aside. Whether the path names anything is not asked
// here. Nothing where there is no =, or nothing before or after it.
[[nodiscard]] std::optional<Setting> parse_setting(std::string_view text);

// Loads a rule file as if it had those values in place of its own; of one path, the last counts.
// What the file does not have (a section, the filament of a tool, a material) is added, but for a
// toolhead. All is checked as if it stood in the file, and a material must be that of a filament.
// Errors are those of load(); of kind `usage`, beginning with the setting, where it is one of these
// that is wrong. The hash is of the file's bytes and the settings: their order counts, and so does
// how a value is written.
[[nodiscard]] Result<Rules> load(std::string_view text, const std::string& name,
                                 std::span<const Setting> settings);

}  // namespace forewarm::rules
