// Reads a rule file (TOML 1.0) into Rules, or says exactly where it is wrong.
//
// Errors are of kind `rules`, with file:line:column, the line, a caret and, for an unknown key or
// word, the nearest known one as the hint. The first error in the file is the one reported.
// Keys, types, ranges and required keys come from the table of keys (keys.h). Checked besides:
// overlapping tools, duplicate toolhead names and heater indexes, filaments for tools that no
// toolhead serves, sequences that are named but not defined, RE2 patterns that do not compile or
// lack their groups, dialect placeholders. Last, in a file that is right so far: what a toolhead's
// sequences feed, how fast, and whether it adds up.
// Bounds: 1 MiB of text, 200 patterns of 1 MiB compiled each and of kMaxInstructions together,
// nesting no deeper than any rule needs.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "rules/rules.h"

namespace forewarm::rules {

struct Setting;

// Bounds: kMaxRuleBytes of text. `name` stands for the file in messages. No file is opened.
constexpr std::size_t kMaxRuleBytes = 1 << 20;
[[nodiscard]] Result<Rules> load(std::string_view text, const std::string& name);

// The built-in rule file, config/default.toml, byte for byte.
[[nodiscard]] std::string_view built_in_text();
// Its rules, marked as built in: guesses, which nobody measured on the machine at hand. With
// settings (paths.h), as load() with these.
[[nodiscard]] Result<Rules> built_in(std::span<const Setting> settings = {});

// Sequences that feed forwards faster than max_flow_mm3_s of a toolhead that may be given them, or
// at no stated speed, a sentence each. As loaded there are none; where filaments were given other
// tools there may be.
[[nodiscard]] std::vector<std::string> too_fast_sequences(const Rules& rules);

}  // namespace forewarm::rules
