// Bytes going out to a descriptor: a file, a pipe, a device.
//
// Contract: an FdSink does not own its descriptor, which must outlive it and be used by nobody else
// meanwhile. Bytes are buffered: nothing is known to be written until flush() succeeds, and the
// destructor does not flush, since it could not report a failure. The first failure is kept and
// every later call returns it again. Errors are of kind io and start with `name`.
// Needs ignore_write_signals() (io/cleanup.h) for EPIPE and EFBIG to arrive as errors.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.h"
#include "base/error.h"

namespace forewarm::io {

class FileSource;

class FdSink final : public ByteSink {
 public:
  static constexpr std::size_t kBuffer = std::size_t{256} * 1024;
  // Spans from this length on are copied by the kernel, file to file, where it can.
  static constexpr std::uint64_t kKernelCopy = std::uint64_t{64} * 1024;

  explicit FdSink(int fd, std::string name, std::size_t buffer = kBuffer);

  [[nodiscard]] Status write(std::string_view bytes) override;
  [[nodiscard]] Status copy(ByteSource& source, std::uint64_t offset,
                            std::uint64_t length) override;
  [[nodiscard]] Status flush();

  // Whether the failure was that nobody reads the other end any more, which is no cause for a
  // message: `forewarm diff ... | head` ends so.
  [[nodiscard]] bool broken_pipe() const { return broken_pipe_; }

 private:
  [[nodiscard]] Status fail(Error error);
  [[nodiscard]] Status write_out(std::string_view bytes);
  void kernel_copy(const FileSource& source, std::uint64_t& offset, std::uint64_t& length);

  int fd_;
  std::string name_;
  std::vector<char> buffer_;
  std::size_t used_ = 0;
  bool kernel_copies_ = true;
  bool broken_pipe_ = false;
  std::optional<Error> failure_;
};

}  // namespace forewarm::io
