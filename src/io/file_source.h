// A job read from a file, at any offset, with a way to tell later whether it is still that file.
//
// Contract: a FileSource owns its descriptor; move it, don't copy it. size() is fixed when it is
// opened: bytes added to the file later are not seen, and a file that became shorter is an error,
// never an early end. Errors are of kind io and name the path. read_at() and unchanged() change no
// state, so several threads may read one FileSource.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "base/bytes.h"
#include "base/error.h"
#include "io/posix.h"

namespace forewarm::io {

// What tells one state of a file from another, short of reading it. A write that keeps the size and
// falls into the same tick of the file system's clock (some milliseconds) cannot be told apart.
struct FileIdentity {
  std::uint64_t device = 0;
  std::uint64_t inode = 0;
  std::uint64_t size = 0;
  std::uint64_t mtime_ns = 0;
  std::uint64_t ctime_ns = 0;
  friend bool operator==(const FileIdentity&, const FileIdentity&) = default;
};

class FileSource final : public ByteSource {
 public:
  // Opens a regular file (symbolic links are followed). Anything else is an error, and is not
  // waited for or read from to find out.
  [[nodiscard]] static Result<FileSource> open(const std::string& path);

  // Copies all that `fd` still gives (standard input, usually a pipe) to an unnamed file in
  // $TMPDIR, else /tmp, so that it can be read more than once. `name` stands in messages. `fd` is
  // not closed.
  [[nodiscard]] static Result<FileSource> spool(int fd, const std::string& name = "standard input");

  // An unnamed file, made there too, with what `fill` writes. Its error is returned as it is.
  [[nodiscard]] static Result<FileSource> filled(const std::string& name,
                                                 const std::function<Status(ByteSink&)>& fill);

  [[nodiscard]] std::uint64_t size() const override { return identity_.size; }
  [[nodiscard]] Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override;

  // Fails when the open file was written to, or the path now leads to another file.
  [[nodiscard]] Status unchanged() const;

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] const FileIdentity& identity() const { return identity_; }
  [[nodiscard]] int fd() const { return fd_.get(); }

 private:
  FileSource(UniqueFd fd, std::string path, bool named, FileIdentity identity)
      : fd_(std::move(fd)), path_(std::move(path)), named_(named), identity_(identity) {}

  UniqueFd fd_;
  std::string path_;
  bool named_;  // path_ can be looked up; false for a spooled stream
  FileIdentity identity_;
};

}  // namespace forewarm::io
