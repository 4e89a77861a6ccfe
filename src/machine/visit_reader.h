// Reads a job line by line into Visits.
//
// Lifetime: rules and recogniser outlive it. Memory grows with selects and targets.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "gcode/lines.h"
#include "gcode/state.h"
#include "machine/heater_targets.h"
#include "machine/interpreter.h"
#include "machine/visits.h"

namespace forewarm::machine {

class VisitReader {
 public:
  VisitReader(const rules::Rules& rules, const rules::Recogniser& recogniser);

  // Takes the next line. True: it gives targets.
  bool read(const gcode::RawLine& raw);
  // Of that line: its text without a byte order mark, its words, and the numbers in it that name
  // tools and heaters.
  [[nodiscard]] std::string_view text() const { return text_; }
  [[nodiscard]] const gcode::Words& words() const { return line_.words; }
  [[nodiscard]] const std::vector<gcode::Named>& names() const { return names_; }

  [[nodiscard]] Visits& visits() { return visits_; }
  [[nodiscard]] const Visits& visits() const { return visits_; }
  [[nodiscard]] Heads& heads() { return heads_; }
  [[nodiscard]] const Interpreter& interpreter() const { return interpreter_; }

 private:
  void count_lines();
  void find_names();
  void find_fixed(const gcode::RawLine& line);
  void select(int tool, const gcode::RawLine& line);
  void move_filament(bool forwards, const gcode::RawLine& line);
  void add_target(const Operation& operation, TargetLine& line);
  [[nodiscard]] std::size_t name_at(std::size_t at) const;

  const bool by_heater_;  // the T of a temperature is a heater's number
  const Interpreter interpreter_;
  Heads heads_;
  ToolChanger changer_;
  HeaterTargets heater_targets_;
  gcode::State state_;
  InterpretedLine line_;
  std::string_view text_;
  std::vector<gcode::Named> names_;
  std::optional<std::int64_t> count_;  // of numbered lines
  ToolByHead loaded_, used_with_;
  std::size_t turn_ = 0;
  bool target_since_feed_ = false;
  bool first_ = true;
  Visits visits_;
};

}  // namespace forewarm::machine
