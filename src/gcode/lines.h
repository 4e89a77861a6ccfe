// Lines of a text that arrives in pieces.
//
// A line ends at LF; a CR just before it belongs to the ending ("\r\n"), any other CR to the text.
// The last line may lack an ending. Lines may be of any length: the buffer grows to the longest
// one. The views in RawLine are valid until the next call of next(). Where reads end makes no
// difference to what comes out.
#pragma once

#include <cstdint>
#include <cstring>
#include <string_view>
#include <vector>

#include "base/bytes.h"

namespace forewarm::gcode {

struct RawLine {
  std::string_view text;     // without its ending
  std::string_view ending;   // "\n", "\r\n" or ""
  std::uint64_t offset = 0;  // of the first byte of text
  std::uint64_t number = 0;  // from 1
  [[nodiscard]] std::uint64_t end_offset() const { return offset + text.size() + ending.size(); }
};

class LineReader {
 public:
  // Reads source[from, to). `first_number` is the number that the first line gets.
  explicit LineReader(ByteSource& source, std::uint64_t from = 0, std::uint64_t to = UINT64_MAX,
                      std::uint64_t first_number = 1, std::size_t chunk = 1U << 20U);

  // True and `line` set, or false at the end.
  [[nodiscard]] Result<bool> next(RawLine& line);

  // Passes over the next line if it is `line`, ending and all, and says so. If not, or if that
  // cannot be seen without reading on, nothing happens. REQUIRES: `line` ends in its only LF.
  [[nodiscard]] bool pass_if(std::string_view line, std::uint64_t& number) {
    if (end_ - begin_ < line.size() ||
        std::memcmp(buffer_.data() + begin_, line.data(), line.size()) != 0) {
      return false;
    }
    begin_ += line.size();
    line_offset_ += line.size();
    number = number_++;
    return true;
  }

  // Bytes not yet handed out as lines but already read may be looked at as they come in.
  class Watcher {
   public:
    virtual ~Watcher() = default;
    virtual void bytes(std::string_view chunk) = 0;
  };
  void watch(Watcher* watcher) { watcher_ = watcher; }

 private:
  [[nodiscard]] Result<bool> refill();

  ByteSource& source_;
  std::vector<char> buffer_;
  std::size_t begin_ = 0, end_ = 0;  // unread part of buffer_
  std::uint64_t read_offset_, to_;   // next byte to read; where to stop
  std::uint64_t line_offset_;
  std::uint64_t number_;
  Watcher* watcher_ = nullptr;
};

}  // namespace forewarm::gcode
