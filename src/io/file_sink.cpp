#include "io/file_sink.h"

#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "io/file_source.h"
#include "io/posix.h"

namespace forewarm::io {

FdSink::FdSink(int fd, std::string name, std::size_t buffer)
    : fd_(fd), name_(std::move(name)), buffer_(std::max<std::size_t>(buffer, 1)) {}

Status FdSink::fail(Error error) {
  failure_ = error;
  return error;
}

Status FdSink::write_out(std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t done = ::write(fd_, bytes.data(), bytes.size());
    if (done > 0) {
      bytes.remove_prefix(std::size_t(done));
    } else if (done == 0) {  // would loop forever; no file, pipe or terminal does this
      return fail(Error{
          .kind = Error::Kind::io, .message = "cannot write: nothing is taken", .file = name_});
    } else if (errno == EAGAIN || errno == EWOULDBLOCK) {
      wait_writable(fd_);
    } else if (errno != EINTR) {
      broken_pipe_ = errno == EPIPE;
      return fail(os_error(name_, "cannot write", errno));
    }
  }
  return success();
}

Status FdSink::flush() {
  if (failure_) return *failure_;
  const std::string_view pending(buffer_.data(), used_);
  used_ = 0;
  return write_out(pending);
}

Status FdSink::write(std::string_view bytes) {
  if (failure_) return *failure_;
  if (bytes.size() > buffer_.size() - used_) {
    if (auto s = flush(); !s) return s;
    if (bytes.size() >= buffer_.size()) return write_out(bytes);
  }
  std::copy(bytes.begin(), bytes.end(), buffer_.data() + used_);
  used_ += bytes.size();
  return success();
}

// Moves `offset` and `length` past what the kernel copied. Where it cannot (other file system, a
// pipe, append mode, an old kernel, a file system that answers 0) or fails half-way, the rest is
// left to read and write, which say which side failed and why.
void FdSink::kernel_copy(const FileSource& source, std::uint64_t& offset, std::uint64_t& length) {
  constexpr std::uint64_t kMost = std::uint64_t{1} << 30U;
  // Never past the size the source had when it was opened: what was appended since is not ours.
  std::uint64_t left = offset < source.size() ? std::min(length, source.size() - offset) : 0;
  while (left > 0) {
    auto from = off64_t(offset);
    const ssize_t done =
        ::copy_file_range(source.fd(), &from, fd_, nullptr, std::size_t(std::min(left, kMost)), 0);
    if (done < 0 && errno == EINTR) continue;
    if (done <= 0) {
      kernel_copies_ = false;
      return;
    }
    offset += std::uint64_t(done);
    length -= std::uint64_t(done);
    left -= std::uint64_t(done);
  }
}

Status FdSink::copy(ByteSource& source, std::uint64_t offset, std::uint64_t length) {
  if (failure_) return *failure_;
  if (kernel_copies_ && length >= kKernelCopy) {
    if (const auto* file = dynamic_cast<const FileSource*>(&source)) {
      if (auto s = flush(); !s) return s;
      kernel_copy(*file, offset, length);
    }
  }
  while (length > 0) {
    if (used_ == buffer_.size()) {
      if (auto s = flush(); !s) return s;
    }
    // Read straight into the buffer: no second copy.
    const auto room = std::size_t(std::min<std::uint64_t>(length, buffer_.size() - used_));
    auto got = source.read_at(offset, std::span(buffer_.data() + used_, room));
    if (!got) return fail(std::move(got.error()));
    if (*got == 0) {
      return fail(Error{Error::Kind::io, "the file became shorter while it was read"});
    }
    used_ += *got;
    offset += *got;
    length -= *got;
  }
  return success();
}

}  // namespace forewarm::io
