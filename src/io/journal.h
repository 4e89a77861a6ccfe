// A file of lines that grows while work is done and survives being killed: each line is written
// whole, at once, and what a kill cut short is taken away when the file is opened the next time.
//
// Contract: a Journal holds a lock on its file as long as it lives; a second one on the same file
// is an error at once. append() hands the line to the kernel before it returns, so that it outlives
// the process; it does not wait for the disk. After a failed append() the file ends after the last
// whole line. A folder, a symbolic link, a device or a pipe is refused. Errors are of kind io and
// name the path. Not thread-safe.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/error.h"
#include "io/posix.h"

namespace forewarm::io {

class Journal {
 public:
  // Opens or creates the file. More than `limit` bytes in it are an error.
  [[nodiscard]] static Result<Journal> open(const std::string& path, std::size_t limit);

  // The whole lines that were in the file when it was opened.
  [[nodiscard]] const std::string& text() const { return text_; }
  // REQUIRES: `line` ends in its only newline.
  [[nodiscard]] Status append(std::string_view line);

 private:
  Journal(UniqueFd fd, std::string path) : fd_(std::move(fd)), path_(std::move(path)) {}

  UniqueFd fd_;
  std::string path_;
  std::string text_;
  std::uint64_t end_ = 0;  // of the last whole line
};

}  // namespace forewarm::io
