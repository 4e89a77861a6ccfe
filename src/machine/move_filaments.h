// What a job becomes when its filaments move to other tools.
//
// A tool's number in a line becomes the new one. A target is another matter: it is for a heater,
// and thus for all that its toolhead prints until it is given another. So each target follows the
// filament that it is for, to the toolhead where that is then:
//
// - given while its toolhead is mounted, up to the last line of that visit that moves filament or
//   waits for its heater: for what is selected, whatever number it bears;
// - else, a wait for cooling down: for what its heater was last used with;
// - else, by the number of a tool: for that tool's filament; by that of a heater: for the only
//   toolhead that all its filaments go to, or else for what is in it and what comes next, if both
//   go to one. Off is for what is in it. A target that may be for either is refused.
//
// It is left out where the next filament to be used in that toolhead had another heater: it would
// be moved at a neighbour's temperature, or have its heater switched off. What cools a toolhead
// before it is put away may stay, unless the select exchanges its filament; but not where it is no
// hotter there. And where a use would begin with another target than in the job, because neighbours
// have had the heater meanwhile, a wait for its own is inserted after the select, and an off if the
// job has switched it off. So each filament moves at the target that the job moves it at, either
// way, and is waited for where the job does nothing else with it. Temperatures that the rule file
// does not recognise are not known here either.
//
// A tool that the job only gives targets has no filament. Where another takes its number, it gets
// the one that is free then.
//
// Lines come in the order of the text; memory grows with selects and targets. Errors of kind
// `refused` have the place but for the file; of kind `usage`, where two tools become one, none.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "base/bytes.h"
#include "base/error.h"
#include "gcode/lines.h"
#include "gcode/renumber.h"
#include "machine/visit_reader.h"
#include "rules/recogniser.h"

namespace forewarm::machine {

class FilamentMove {
 public:
  // All three outlive it, but for `map`.
  FilamentMove(const rules::Rules& rules, const rules::Recogniser& recogniser, gcode::ToolMap map);

  [[nodiscard]] Status line(const gcode::RawLine& line);
  // After the last line: what is another line, or a new one, in order.
  [[nodiscard]] Result<std::vector<gcode::MovedLine>> finish();

  // After finish(): with the tools that had to make room.
  [[nodiscard]] const gcode::ToolMap& map() const { return map_; }
  // After the last line: the tools that the job selects, or feeds by without.
  [[nodiscard]] const std::set<int>& used() const { return reader_.visits().used; }

 private:
  [[nodiscard]] Status renumber(const gcode::RawLine& raw);

  const rules::Rules& rules_;
  gcode::ToolMap map_;
  VisitReader reader_;
  std::vector<gcode::MovedLine> lines_;  // renumbered
};

// A whole job. `name` is what its errors call it.
[[nodiscard]] Result<std::vector<gcode::MovedLine>> moved_lines(ByteSource& text,
                                                                const std::string& name,
                                                                FilamentMove& move);

}  // namespace forewarm::machine
