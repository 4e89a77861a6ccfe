#include "io/posix.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/random.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <system_error>

namespace forewarm::io {

namespace {
void wait_for(int fd, short events) {
  pollfd ready{fd, events, 0};
  // Whatever poll() says, the caller tries again and gets the real error, if there is one.
  (void)::poll(&ready, 1, -1);
}
}  // namespace

void UniqueFd::reset(int fd) {
  if (fd_ >= 0) (void)::close(fd_);
  fd_ = fd;
}

int UniqueFd::close() {
  if (fd_ < 0) return 0;
  return ::close(std::exchange(fd_, -1)) == 0 ? 0 : errno;
}

Error os_error(std::string file, std::string_view what, int code) {
  std::string message(what);
  message += ": ";
  message += std::generic_category().message(code);
  return Error{.kind = Error::Kind::io, .message = std::move(message), .file = std::move(file)};
}

int open_fd(const std::string& path, int flags, unsigned mode) {
  int fd = -1;
  do {
    fd = ::open(path.c_str(), flags | O_CLOEXEC, mode);
  } while (fd < 0 && errno == EINTR);
  return fd;
}

Result<std::string> random_name() {
  std::array<unsigned char, 8> bytes{};
  ssize_t got = 0;
  do {
    got = ::getrandom(bytes.data(), bytes.size(), 0);
  } while (got < 0 && errno == EINTR);
  if (got < 0) return os_error({}, "cannot get random bytes for a file name", errno);
  if (std::size_t(got) != bytes.size()) {  // the kernel never cuts so short a request
    return Error{Error::Kind::io, "cannot get random bytes for a file name"};
  }
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string name;
  for (const unsigned char b : bytes) {
    name += kDigits[b >> 4U];
    name += kDigits[b & 15U];
  }
  return name;
}

void wait_readable(int fd) { wait_for(fd, POLLIN); }
void wait_writable(int fd) { wait_for(fd, POLLOUT); }

}  // namespace forewarm::io
