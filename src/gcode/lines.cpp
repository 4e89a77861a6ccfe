#include "gcode/lines.h"

#include <algorithm>
#include <cstring>

namespace forewarm::gcode {

LineReader::LineReader(ByteSource& source, std::uint64_t from, std::uint64_t to,
                       std::uint64_t first_number, std::size_t chunk)
    : source_(source),
      // One byte more than a short text has: then its end shows without the buffer growing.
      buffer_(std::size_t(std::min<std::uint64_t>(
          std::max<std::size_t>(chunk, 1), source.size() - std::min(from, source.size()) + 1))),
      read_offset_(from),
      to_(to),
      line_offset_(from),
      number_(first_number) {}

Result<bool> LineReader::refill() {
  if (begin_ > 0) {
    std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
    end_ -= begin_;
    begin_ = 0;
  }
  if (end_ == buffer_.size()) buffer_.resize(buffer_.size() * 2);
  const auto room = std::size_t(
      std::min<std::uint64_t>(buffer_.size() - end_, to_ > read_offset_ ? to_ - read_offset_ : 0));
  if (room == 0) return false;
  auto got = source_.read_at(read_offset_, std::span(buffer_.data() + end_, room));
  if (!got) return std::move(got.error());
  if (watcher_ != nullptr && *got > 0) watcher_->bytes({buffer_.data() + end_, *got});
  end_ += *got;
  read_offset_ += *got;
  return *got > 0;
}

Result<bool> LineReader::next(RawLine& line) {
  std::size_t searched = 0;  // bytes after begin_ known to hold no LF
  for (;;) {
    const char* start = buffer_.data() + begin_;
    const std::size_t have = end_ - begin_;
    const auto* lf = static_cast<const char*>(std::memchr(start + searched, '\n', have - searched));
    std::size_t text = have;
    std::size_t ending = 0;
    if (lf != nullptr) {
      text = std::size_t(lf - start);
      ending = 1;
      if (text > 0 && start[text - 1] == '\r') {
        --text;
        ending = 2;
      }
    } else {
      searched = have;
      auto more = refill();
      if (!more) return std::move(more.error());
      if (*more) continue;
      if (have == 0) return false;
      start = buffer_.data() + begin_;
    }
    line.text = {start, text};
    line.ending = {start + text, ending};
    line.offset = line_offset_;
    line.number = number_++;
    begin_ += text + ending;
    line_offset_ += text + ending;
    return true;
  }
}

}  // namespace forewarm::gcode
