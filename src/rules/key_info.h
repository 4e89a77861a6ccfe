// What there is to say of each key of a rule file, as plain words: for references, schemas,
// completions, and tests that compare other texts with the table.
//
// Contract: everything is derived from the table of keys (keys.h); nothing is said twice. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "rules/keys.h"

namespace forewarm::rules {

// The unit that the ending of a key's name stands for, in words; empty where it has none.
[[nodiscard]] std::string_view unit_of(std::string_view key);

struct KeyInfo {
  const SectionInfo* section = nullptr;
  std::string_view name;
  std::string_view doc;
  std::string_view unit;         // "seconds", or empty
  std::string type;              // "number", "string", "true or false" ...
  std::string range;             // "0 to 1000", "at least 0, or \"best\"", or empty
  std::span<const Word> words;   // of a choice
  std::optional<Limits> limits;  // of a number, or of each number in it
  bool required = false;
  std::string default_text;  // as written in TOML, "none", or words; empty where required
  std::string example;       // a line, "park_s = 7"

  // "required, over 0" or "default 7, 0 to 86400": how a comment beside the key begins.
  [[nodiscard]] std::string summary() const;
};

// Each key of each section but for the sections themselves, in the order of the table. Keys that
// filaments and materials have in common are there twice.
[[nodiscard]] std::vector<KeyInfo> all_keys();

}  // namespace forewarm::rules
