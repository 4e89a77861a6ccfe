#include "base/bytes.h"

namespace forewarm {

Status ByteSink::copy(ByteSource& source, std::uint64_t offset, std::uint64_t length) {
  std::vector<char> buffer(std::size_t(std::min<std::uint64_t>(length, 1U << 20U)));
  while (length > 0) {
    const auto want = std::size_t(std::min<std::uint64_t>(length, buffer.size()));
    auto got = source.read_at(offset, std::span(buffer.data(), want));
    if (!got) return std::move(got.error());
    if (*got == 0) return Error{Error::Kind::io, "the file became shorter while it was read"};
    if (auto written = write({buffer.data(), *got}); !written) return written;
    offset += *got;
    length -= *got;
  }
  return success();
}

}  // namespace forewarm
