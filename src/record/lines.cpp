#include "record/lines.h"

#include <algorithm>
#include <cstring>

#include "record/record.h"

namespace forewarm::record {

Lines::Lines(ByteSource& source, std::string name, std::size_t chunk)
    : source_(source), name_(std::move(name)), buffer_(std::max<std::size_t>(chunk, 1)) {}

Result<bool> Lines::fill() {
  if (at_end_) return false;
  std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
  end_ -= begin_;
  begin_ = line_at_ = 0;
  ++fills_;
  if (end_ == buffer_.size()) buffer_.resize(std::min(buffer_.size() * 2, 2 * kLongestLine));
  auto got = source_.read_at(offset_, std::span(buffer_.data() + end_, buffer_.size() - end_));
  if (!got) return std::move(got.error());
  end_ += *got;
  offset_ += *got;
  at_end_ = *got == 0;
  return !at_end_;
}

Result<bool> Lines::next(Line& line) {
  std::size_t searched = 0;
  for (;;) {
    const char* const start = buffer_.data() + begin_;
    const std::size_t have = end_ - begin_;
    const auto* lf = static_cast<const char*>(std::memchr(start + searched, '\n', have - searched));
    if (lf != nullptr || (at_end_ && have > 0)) {
      line_at_ = begin_;
      std::size_t length = lf != nullptr ? std::size_t(lf - start) : have;
      begin_ += lf != nullptr ? length + 1 : length;
      line.ended = lf != nullptr;
      if (line.ended && length > 0 && start[length - 1] == '\r') --length;
      line.text = {start, length};
      line.number = ++number_;
      if (length <= kLongestLine) return true;
    } else if (have <= kLongestLine) {
      searched = have;
      auto more = fill();
      if (!more) return std::move(more.error());
      if (!*more && end_ == begin_) return false;
      continue;
    } else {
      line.number = number_ + 1;
    }
    return Error{
        Error::Kind::refused,
        "this line has more than " + std::to_string(kLongestLine) + " bytes, which no log has",
        name_, line.number, 0};
  }
}

Error Lines::error(const Line& line, std::size_t byte, std::string message,
                   std::string hint) const {
  return {Error::Kind::refused,
          std::move(message),
          name_,
          line.number,
          characters(line.text.substr(0, byte)) + 1,
          std::string(line.text),
          std::move(hint)};
}

}  // namespace forewarm::record
