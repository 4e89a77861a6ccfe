// The commands of a job that neither this program nor the rules know: what may take time, select
// a tool or heat one in the job's own way.
//
// Known are the commands that gcode/ follows, and those that take no time by the RepRap convention
// (from memory; firmwares differ). Memory is bounded: of more than kMostShapes different ones, the
// first are kept.
#pragma once

#include <cstdint>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "job/job.h"
#include "machine/interpreter.h"

namespace forewarm::job {

// The line without its number, comment and checksum, and the blanks around.
[[nodiscard]] std::string_view command_of(const gcode::Words& words);

// Past the number, of digits with a point or without, that begins with the digit at `i`.
[[nodiscard]] std::size_t past_number(std::string_view text, std::size_t i);

// Likewise, with each number as #, cut after 100 bytes. The number of a G or M command stays.
[[nodiscard]] std::string shape_of(const gcode::Words& words);

// Whether the machine may take time for it that the job does not show: it homes, levels, waits for
// the bed, or is not known at all. Not moves, dwells, selects and waits for heaters.
[[nodiscard]] bool may_take_time(const gcode::Words& words);

class UnknownCommands {
 public:
  static constexpr std::size_t kMostShapes = 256;
  // REQUIRES: a line that is no plain move, as the interpreter has read it.
  void take(std::uint64_t line, const machine::InterpretedLine& read);
  // Those that may take time, by count, then by line.
  [[nodiscard]] std::vector<UnknownCommand> list() const;

 private:
  std::unordered_map<std::string, UnknownCommand> by_shape_;
};

}  // namespace forewarm::job
