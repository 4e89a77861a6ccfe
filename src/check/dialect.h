// Reads inserted lines, as [dialect] says they are written.
//
// The templates of `set` and `wait` are turned into RE2 patterns: {tool}, {heater}, {temp} and
// {least} become groups, all else stands for itself. {least} has to be what the rules make of
// {temp}. A line number before and a checksum after are let pass. Lifetime: keeps what it needs.
// Errors: none; a line that fits no template is no target.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/rules.h"

namespace forewarm::check {

struct Written {
  bool waits = false;
  bool for_least = false;  // the wait is over at {least}
  std::optional<int> tool, heater;
  double temp_c = 0;
};

class Dialect {
 public:
  explicit Dialect(const rules::Rules& rules);
  ~Dialect();
  // `code`: the line up to its mark.
  [[nodiscard]] std::optional<Written> target(std::string_view code) const;
  // A line that the rule file gives word for word (job_start, job_end, a gcode step), or an echo.
  [[nodiscard]] bool given(std::string_view code) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

// Without its line number, checksum and the spaces around.
[[nodiscard]] std::string_view bare(std::string_view code);

}  // namespace forewarm::check
