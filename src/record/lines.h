// Lines of a record, one after the other, in memory that does not grow.
//
// A line ends at LF, and a CR before it belongs to the ending; the last one may have no ending.
// Views are valid until the next call. Errors: those of the source; a line of more than
// kLongestLine bytes is refused, as no log has such.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.h"

namespace forewarm::record {

struct Line {
  std::string_view text;     // without its ending
  std::uint64_t number = 0;  // from 1
  bool ended = true;         // false: the record ends here, in the middle of a line
};

class Lines {
 public:
  Lines(ByteSource& source, std::string name, std::size_t chunk = std::size_t{1} << 18U);

  // True and `line` set; false at the end.
  [[nodiscard]] Result<bool> next(Line& line);
  // Where the line just given begins, among the bytes in memory; and what is in memory from there
  // on, for searches ahead that are worth more than a line.
  [[nodiscard]] std::string_view in_memory() const {
    return {buffer_.data() + line_at_, end_ - line_at_};
  }
  [[nodiscard]] std::uint64_t offset() const { return offset_; }  // of all that was read
  [[nodiscard]] std::uint64_t fills() const { return fills_; }    // how often memory was filled
  [[nodiscard]] const std::string& name() const { return name_; }

  // An error of kind `refused` at a byte of `line`, from 0.
  [[nodiscard]] Error error(const Line& line, std::size_t byte, std::string message,
                            std::string hint = {}) const;

 private:
  [[nodiscard]] Result<bool> fill();

  ByteSource& source_;
  std::string name_;
  std::vector<char> buffer_;
  std::size_t line_at_ = 0, begin_ = 0, end_ = 0;
  std::uint64_t offset_ = 0, number_ = 0, fills_ = 0;
  bool at_end_ = false;
};

}  // namespace forewarm::record
