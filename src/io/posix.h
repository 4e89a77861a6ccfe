// The few things every file of this layer needs from the system: a descriptor that closes itself,
// and errors worded alike.
//
// Contract: UniqueFd owns its descriptor; what it closes is never retried, because on Linux the
// descriptor is gone even when close() was interrupted. Nothing here throws or prints. No type of
// <sys/stat.h> appears in this layer's headers, as their size depends on how the includer was
// built.
#pragma once

#include <string>
#include <string_view>
#include <utility>

#include "base/error.h"

namespace forewarm::io {

class UniqueFd {
 public:
  UniqueFd() = default;
  explicit UniqueFd(int fd) : fd_(fd) {}
  UniqueFd(UniqueFd&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  UniqueFd& operator=(UniqueFd&& other) noexcept {
    if (this != &other) reset(std::exchange(other.fd_, -1));
    return *this;
  }
  UniqueFd(const UniqueFd&) = delete;
  UniqueFd& operator=(const UniqueFd&) = delete;
  ~UniqueFd() { reset(); }

  [[nodiscard]] int get() const { return fd_; }
  explicit operator bool() const { return fd_ >= 0; }
  void reset(int fd = -1);
  // Closes it now, and tells: 0, or the errno. Some file systems say only here what they lost.
  [[nodiscard]] int close();

 private:
  int fd_ = -1;
};

// "<file>: <what>: <the system's words for `code`>", of kind io.
[[nodiscard]] Error os_error(std::string file, std::string_view what, int code);

// open(2), restarted when a signal interrupts it, always with O_CLOEXEC. -1 and errno on failure.
[[nodiscard]] int open_fd(const std::string& path, int flags, unsigned mode = 0);

// Sixteen hexadecimal digits nobody can guess.
[[nodiscard]] Result<std::string> random_name();

// Blocks until `fd`, which gave EAGAIN, can be read (or written) again. We may have been handed the
// non-blocking end of a pipe that another program set so.
void wait_readable(int fd);
void wait_writable(int fd);

}  // namespace forewarm::io
