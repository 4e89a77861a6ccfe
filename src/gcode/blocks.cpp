#include "gcode/blocks.h"

#include <algorithm>
#include <cstring>

namespace forewarm::gcode {

Result<bool> BlockReader::next(Block& block, std::string_view& fresh) {
  std::vector<char>& buffer = block.buffer;
  const std::size_t carried = rest_.size();
  // A short text needs no more room than it has bytes, and one more to see that it ends.
  const auto chunk = std::size_t(std::min<std::uint64_t>(
      chunk_, source_.size() - std::min(offset_ + carried, source_.size()) + 1));
  if (buffer.size() < carried + chunk + Block::kPad) {
    buffer.resize(carried + chunk + Block::kPad);
  }
  std::copy(rest_.begin(), rest_.end(), buffer.begin());
  std::size_t have = carried;
  std::size_t whole = 0;  // bytes up to and with the last LF
  while (!ended_ && (whole == 0 || have < chunk)) {
    if (have + Block::kPad >= buffer.size()) buffer.resize(buffer.size() * 2);
    const std::size_t room =
        std::min(buffer.size() - Block::kPad - have, have < chunk ? chunk - have : chunk);
    auto got = source_.read_at(offset_ + have, std::span(buffer.data() + have, room));
    if (!got) return std::move(got.error());
    if (*got == 0) ended_ = true;
    const auto* lf = static_cast<const char*>(memrchr(buffer.data() + have, '\n', *got));
    if (lf != nullptr) whole = std::size_t(lf - buffer.data()) + 1;
    have += *got;
  }
  std::fill_n(buffer.begin() + std::ptrdiff_t(have), Block::kPad, '\0');
  fresh = {buffer.data() + carried, have - carried};
  block.offset = offset_;
  block.size = ended_ ? have : whole;
  rest_.assign(buffer.begin() + std::ptrdiff_t(block.size), buffer.begin() + std::ptrdiff_t(have));
  offset_ += block.size;
  return block.size > 0;
}

}  // namespace forewarm::gcode
