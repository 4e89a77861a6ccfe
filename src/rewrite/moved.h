// A rewrite of a job whose filaments have moved to other tools.
//
// Planned is what the job will be: `moved`, the original with other numbers. Written is how the
// original becomes that: first of all where each filament goes; each of its lines that is another
// now is disabled, and the line for it follows, marked "mapped T0 to T3"; a line that is new is put
// in, marked likewise. A target that the plan takes out is only disabled; where it is a new one, it
// is inserted as a comment.
// REQUIRES: `moved` is over the original, and `lines` are its splices; all outlive this.
#pragma once

#include <vector>

#include "gcode/renumber.h"
#include "rewrite/marks.h"
#include "rewrite/rewrite.h"

namespace forewarm::rewrite {

class MovedToSink final : public EditSink {
 public:
  // `header`: of the original, in place of that of the moved text.
  MovedToSink(ByteSource& original, const SplicedSource& moved,
              const std::vector<gcode::MovedLine>& lines, const gcode::ToolMap& map, Header header,
              ByteSink& sink)
      : original_(original),
        moved_(moved),
        lines_(lines),
        map_(map),
        header_(header),
        sink_(sink) {}
  Status keep(std::uint64_t from, std::uint64_t to) override;
  Status disable(std::uint64_t from, std::uint64_t to) override;
  Status insert(std::string_view line, std::string_view joins) override;

 private:
  [[nodiscard]] Status copy(std::uint64_t from, std::uint64_t to);  // of the original
  [[nodiscard]] Status new_line(std::size_t i, std::string_view before);
  [[nodiscard]] static std::string mark(const gcode::MovedLine& line) {
    return std::string(kInserted) + std::string(kMapped) + line.how;
  }
  // The ending of the line that ends at `offset` of the original; empty at its end.
  [[nodiscard]] Result<std::string> ending_at(std::uint64_t offset);

  ByteSource& original_;
  const SplicedSource& moved_;
  const std::vector<gcode::MovedLine>& lines_;
  const gcode::ToolMap& map_;
  Header header_;
  ByteSink& sink_;
  bool started_ = false;
  std::string last_ending_ = "\n";
};

}  // namespace forewarm::rewrite
