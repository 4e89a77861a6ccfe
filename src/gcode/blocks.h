// A text in blocks of whole lines, for readers that go through it faster than line by line.
//
// A block ends after an LF, or with the text. kPad bytes behind it may be read, so that eight bytes
// at a time can be looked at; they are zero where the text ends. Lines may be of any length: a
// block grows to hold one. Where reads end makes no difference to which lines come out, only to
// which block has them.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "base/bytes.h"

namespace forewarm::gcode {

struct Block {
  static constexpr std::size_t kPad = 16;
  std::vector<char> buffer;  // the text, then at least kPad bytes
  std::size_t size = 0;      // of the text
  std::uint64_t offset = 0;  // of its first byte
  [[nodiscard]] std::string_view text() const { return {buffer.data(), size}; }
};

class BlockReader {
 public:
  static constexpr std::size_t kChunk = std::size_t{128} * 1024;
  // A text of so many bytes is worth a thread that reads it ahead (gcode/read_ahead.h).
  static constexpr std::uint64_t kWorthThread = std::uint64_t{4} << 20U;

  explicit BlockReader(ByteSource& source, std::size_t chunk = kChunk)
      : source_(source), chunk_(chunk > 0 ? chunk : 1) {}

  // Fills `block`, whose room is used again; false at the end. `fresh` is set to what of the block
  // was not read before, and with the blocks before gives every byte once, in order: it runs on
  // into the next block's first line.
  [[nodiscard]] Result<bool> next(Block& block, std::string_view& fresh);

 private:
  ByteSource& source_;
  std::size_t chunk_;
  std::vector<char> rest_;  // read, but behind the last LF
  std::uint64_t offset_ = 0;
  bool ended_ = false;
};

}  // namespace forewarm::gcode
