// A rewritten text in runs: lines that bear no mark, as many as stand together, and single ones
// that do. Most of a text goes by without a look at its lines.
//
// Runs are whole lines; a long stretch comes in several. `bytes` is valid until the next call.
#pragma once

#include <cstdint>
#include <string_view>

#include "base/bytes.h"
#include "gcode/blocks.h"

namespace forewarm::rewrite {

struct Run {
  enum class Kind : std::uint8_t { first, plain, inserted, disabled };
  Kind kind = Kind::plain;  // first: the text's first line, where the header stands
  std::string_view bytes;   // mark and line endings included
  std::uint64_t offset = 0;
};

// "\n", "\r\n" or "": how the last line of `bytes` ends.
[[nodiscard]] std::string_view last_ending(std::string_view bytes);

class RunReader {
 public:
  explicit RunReader(ByteSource& source, std::size_t chunk = gcode::BlockReader::kChunk)
      : reader_(source, chunk) {}
  // False at the end.
  [[nodiscard]] Result<bool> next(Run& run);

 private:
  void give(Run& run, Run::Kind kind, std::size_t to);

  gcode::BlockReader reader_;
  gcode::Block block_;
  std::size_t at_ = 0;         // of block_, given so far
  std::size_t marked_to_ = 0;  // the end of the next marked line, where it is known
  Run::Kind marked_as_ = Run::Kind::plain;
  bool begun_ = false;
};

}  // namespace forewarm::rewrite
