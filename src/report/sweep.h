// Numbers of [gap], tried at several values: what `--sweep KEY=FROM:TO:STEP` asks for.
//
// KEY may have its section before it, `gap.off_over_s`. TO is tried, too, where a whole number of
// steps leads to it. KEY=VALUE is one value. A key given twice is tried at the values of both.
// Errors are of kind `usage` and name the sweep.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "rules/keys.h"
#include "rules/rules.h"

namespace forewarm::report {

constexpr std::size_t kMaxSwept = 200;  // values, of all sweeps together

struct Sweep {
  const rules::Key<rules::GapSettings>* key = nullptr;  // a number
  std::vector<double> values;  // ascending, none twice, each within the key's limits
  // Sets it in `gap`. REQUIRES: one of `values`.
  void set(rules::GapSettings& gap, double value) const { key->number()->set(gap, value); }
  // The policy that the key concerns.
  [[nodiscard]] rules::Policy policy() const;
};

[[nodiscard]] Result<Sweep> parse_sweep(std::string_view text);
// One for each key, in the order in which they first come.
[[nodiscard]] Result<std::vector<Sweep>> parse_sweeps(std::span<const std::string> texts);

}  // namespace forewarm::report
