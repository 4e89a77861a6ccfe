// Other tool numbers for a job: which commands name a tool, and the line that names another.
//
// Tool-indexed by the RepRap convention (from memory; firmwares differ): a T that selects (leading
// its line, or beside M6); the T of M104 and M109, unless it names a heater; the T of M105, M200,
// M221, M600, M701, M702 and M900; the P of M116 and M568, and of G10 where S or R gives
// temperatures. What belongs to the toolhead, not to what is loaded (G10 P with X Y Z, M218 T, M301
// E), keeps its number. What the rule file recognises is told as `own`.
//
// Pure, but for what a Renumbering has seen. A checksum is made anew, a line number stays.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.h"
#include "base/spliced.h"
#include "gcode/words.h"

namespace forewarm::gcode {

using ToolMap = std::map<int, int>;  // from old to new; what is not in it keeps its number

[[nodiscard]] inline int mapped(const ToolMap& map, int tool) {
  const auto it = map.find(tool);
  return it == map.end() ? tool : it->second;
}

// A tool's number in a line, as text.
struct Named {
  std::size_t at = 0, length = 0;
  int tool = 0;
  bool operator==(const Named&) const = default;
};

struct Renumbered {
  std::string text, how;  // "T0 to T3"
};

class Renumbering {
 public:
  Renumbering(ToolMap map, bool temperature_index_is_heater)
      : map_(std::move(map)), heaters_(temperature_index_is_heater) {}

  // The line that stands for `line` (without ending), or nothing where it may stay. `own`: what the
  // rule file's patterns find in it. Kind `refused`, without a place: it cannot be said with other
  // numbers.
  [[nodiscard]] Result<std::optional<Renumbered>> line(std::string_view line,
                                                       std::span<const Named> own);
  [[nodiscard]] const std::set<int>& seen() const { return seen_; }  // tools named so far
  [[nodiscard]] const ToolMap& map() const { return map_; }

 private:
  ToolMap map_;
  bool heaters_;
  bool selected_ = false;
  std::set<int> seen_;
  Words words_, again_;
};

// Where the numbers of the tools that `words` names stand in `line`. REQUIRES: words of the line.
[[nodiscard]] std::vector<Named> tools_named(std::string_view line, const Words& words,
                                             bool temperature_index_is_heater);

// The tool that two of the tools seen, or moved, would both become; nothing if each has its own.
[[nodiscard]] std::optional<int> crowded(const ToolMap& map, const std::set<int>& seen);

// What the rule file's patterns find in a line, appended.
using OwnNames = std::function<void(std::string_view, std::vector<Named>&)>;

struct MovedLine {
  Splice splice;  // of the line without its ending
  std::string how;
};
// Every line of `text` that has to be another. Errors: as Renumbering's, with the place in `name`.
[[nodiscard]] Result<std::vector<MovedLine>> renumber(ByteSource& text, const std::string& name,
                                                      Renumbering& by, const OwnNames& own);
[[nodiscard]] std::vector<Splice> splices_of(const std::vector<MovedLine>& lines);

}  // namespace forewarm::gcode
