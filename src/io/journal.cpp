#include "io/journal.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>

#include "io/read_all.h"

namespace forewarm::io {

Result<Journal> Journal::open(const std::string& path, std::size_t limit) {
  // O_NONBLOCK: a pipe of this name is not waited for.
  UniqueFd fd(open_fd(path, O_RDWR | O_CREAT | O_NOCTTY | O_NOFOLLOW | O_NONBLOCK, 0666));
  if (!fd) return os_error(path, "cannot open", errno);
  struct stat st {};
  if (::fstat(fd.get(), &st) != 0) return os_error(path, "cannot examine", errno);
  if (!S_ISREG(st.st_mode)) return Error{Error::Kind::io, "is not a regular file", path};
  while (::flock(fd.get(), LOCK_EX | LOCK_NB) != 0) {
    if (errno == EINTR) continue;
    if (errno == EWOULDBLOCK) {
      return Error{.kind = Error::Kind::io,
                   .message = "is being written by another run, which holds a lock on it",
                   .file = path,
                   .hint = "run again when that has ended"};
    }
    break;  // no locks here
  }
  auto text = read_all(path, limit);
  if (!text) return std::move(text.error());

  Journal journal(std::move(fd), path);
  const std::size_t last = text->rfind('\n');
  text->resize(last == std::string::npos ? 0 : last + 1);
  journal.end_ = text->size();
  journal.text_ = std::move(*text);
  if (journal.end_ != std::uint64_t(st.st_size) &&
      ::ftruncate(journal.fd_.get(), off_t(journal.end_)) != 0) {
    return os_error(path, "cannot cut off its torn last line", errno);
  }
  return journal;
}

Status Journal::append(std::string_view line) {
  std::size_t done = 0;
  while (done < line.size()) {
    const ssize_t put =
        ::pwrite(fd_.get(), line.data() + done, line.size() - done, off_t(end_ + done));
    if (put < 0 && errno == EINTR) continue;
    if (put <= 0) {
      const int code = put < 0 ? errno : ENOSPC;
      (void)!::ftruncate(fd_.get(), off_t(end_));  // a torn line is cut off by the next open, too
      return os_error(path_, "cannot write", code);
    }
    done += std::size_t(put);
  }
  end_ += done;
  return success();
}

}  // namespace forewarm::io
