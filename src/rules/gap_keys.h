// The numbers of [gap] by name: what a rule file may say of them, and how one is changed.
//
// One list for the reader of rule files and for whoever tries other values than the file's.
#pragma once

#include <span>
#include <string_view>

#include "rules/limits.h"
#include "rules/rules.h"

namespace forewarm::rules {

class Table;

struct GapKey {
  std::string_view name;
  Limits limits;
  void (*set)(GapSettings& gap, double value);  // REQUIRES: limits.admit(value)
};
[[nodiscard]] std::span<const GapKey> gap_keys();
// Null if there is none of that name.
[[nodiscard]] const GapKey* gap_key(std::string_view name);

// Reads [gap] of the file, if it has one.
void read_gap(const Table& root, GapSettings& into);

}  // namespace forewarm::rules
