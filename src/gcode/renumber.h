// Numbers of tools and heaters in a line of a job: where they stand, and the line with others.
//
// Tool-indexed by the RepRap convention (from memory; firmwares differ): a T that selects (leading
// its line, or beside M6); the T of M104 and M109, unless it names a heater; the T of M105, M200,
// M221, M600, M701, M702 and M900; the P of M116 and M568, and of G10 where S or R gives
// temperatures. What belongs to the toolhead, not to what is loaded (G10 P with X Y Z, M218 T, M301
// E), keeps its number. Which number goes where is not known here: see machine/move_filaments.h.
//
// Pure. A checksum is made anew, a line number stays.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "base/spliced.h"
#include "gcode/words.h"

namespace forewarm::gcode {

using ToolMap = std::map<int, int>;  // from old to new; what is not in it keeps its number

[[nodiscard]] inline int mapped(const ToolMap& map, int tool) {
  const auto it = map.find(tool);
  return it == map.end() ? tool : it->second;
}

// "T0 to T3, T3 to T0"
[[nodiscard]] std::string text_of(const ToolMap& map);

// What text_of() makes; nothing if it is not that.
[[nodiscard]] std::optional<ToolMap> read_map(std::string_view text);

// The number of a tool or a heater in a line, as text.
struct Named {
  enum class Kind : std::uint8_t { tool, heater };
  std::size_t at = 0, length = 0;
  int number = 0;
  Kind kind = Kind::tool;
  bool operator==(const Named&) const = default;
};

// Where the numbers that `words` names stand in `line`, in order. REQUIRES: words of the line.
[[nodiscard]] std::vector<Named> numbers_named(std::string_view line, const Words& words,
                                               bool temperature_index_is_heater);

// `line` (without ending) with to[i] in place of names[i], which are those of its words and any
// others, in order. Kind `refused`, without a place: it cannot be said with other numbers.
[[nodiscard]] Result<std::string> with_numbers(std::string_view line, const Words& words,
                                               std::span<const Named> names,
                                               std::span<const int> to);

// `command` as a line with this number and its checksum.
[[nodiscard]] std::string numbered_line(std::int64_t number, const std::string& command);
// The line that sets the count of lines to `count`, itself with that number.
[[nodiscard]] std::string count_set_back(std::int64_t count);

// A line of a job that is another where filaments have moved, or a new one.
struct MovedLine {
  Splice splice;           // of the line without its ending; of a new one, with it
  std::string how;         // what its mark says of it
  std::uint64_t line = 0;  // its number in the job; of a new one, that of the line before
  bool inserted = false;
};
[[nodiscard]] std::vector<Splice> splices_of(const std::vector<MovedLine>& lines);

}  // namespace forewarm::gcode
