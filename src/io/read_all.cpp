#include "io/read_all.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>

#include "io/posix.h"

namespace forewarm::io {

Result<std::string> read_all(const std::string& path, std::size_t limit) {
  constexpr std::size_t kStep = std::size_t{64} * 1024;
  const UniqueFd fd(open_fd(path, O_RDONLY | O_NOCTTY));
  if (!fd) return os_error(path, "cannot open", errno);
  std::string text;
  while (true) {
    const std::size_t have = text.size();
    // One byte more than allowed is asked for: it tells "exactly at the limit" from "over it".
    text.resize(have + std::min(kStep, limit - have) + (limit - have < kStep ? 1 : 0));
    const ssize_t got = ::read(fd.get(), text.data() + have, text.size() - have);
    const int code = errno;
    text.resize(have + (got > 0 ? std::size_t(got) : 0));
    if (got == 0) return text;
    if (got < 0 && code == EINTR) continue;
    if (got < 0) return os_error(path, "cannot read", code);
    if (text.size() > limit) {
      return Error{.kind = Error::Kind::io,
                   .message = "is larger than " + std::to_string(limit) +
                              " bytes, the most that is read of such a file",
                   .file = path};
    }
  }
}

}  // namespace forewarm::io
