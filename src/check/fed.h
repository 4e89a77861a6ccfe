// At what target a job moves filament, by its text alone.
//
// One machine without time: it follows selects and targets, line by line, as job/ and the replay
// do. Two of them side by side show whether two texts treat their filaments alike. Neither plans
// nor knows of marks. Lifetime: rules and recogniser outlive it.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "check/heads.h"
#include "gcode/renumber.h"
#include "gcode/state.h"
#include "rules/recogniser.h"

namespace forewarm::check {

class Fed {
 public:
  Fed(const rules::Rules& rules, const rules::Recogniser& recogniser);

  void line(std::string_view text);  // without its ending

  // Whether the last line moved filament. The rest is of what did so last.
  [[nodiscard]] bool fed() const { return fed_; }
  [[nodiscard]] int tool() const { return tool_; }
  [[nodiscard]] double target_c() const { return target_c_; }
  [[nodiscard]] std::uint64_t visit() const { return visit_; }  // how many selects so far
  // Whether `other` moved the same filament, and with the same target.
  [[nodiscard]] bool same_as(const Fed& other, const gcode::ToolMap& map) const;

 private:
  void feed(bool forwards);

  const rules::Recogniser& recogniser_;
  const bool heaters_, ask_moves_;
  Heads heads_;
  Mount mount_;
  std::unordered_map<std::size_t, double> targets_;  // by toolhead
  gcode::Words words_;
  gcode::State state_;
  gcode::Effect effect_;
  std::vector<rules::Recognised> found_;
  bool first_ = true, fed_ = false;
  int tool_ = -1;
  double target_c_ = 0;
  std::uint64_t visit_ = 0;
};

// A temperature as messages have it.
[[nodiscard]] std::string written(double c);

}  // namespace forewarm::check
