#include "io/file_source.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <optional>

#include "io/cleanup.h"
#include "io/file_sink.h"

namespace forewarm::io {

namespace {

std::uint64_t nanoseconds(const timespec& t) {
  // Unsigned, so that an absurd time stamp wraps instead of overflowing; it is only compared.
  return std::uint64_t(t.tv_sec) * 1'000'000'000U + std::uint64_t(t.tv_nsec);
}

FileIdentity identify(const struct stat& st) {
  return {std::uint64_t(st.st_dev), std::uint64_t(st.st_ino), std::uint64_t(st.st_size),
          nanoseconds(st.st_mtim), nanoseconds(st.st_ctim)};
}

Error not_regular(const std::string& path, const struct stat& st) {
  Error error{.kind = Error::Kind::io, .message = "is not a regular file", .file = path};
  if (S_ISDIR(st.st_mode)) error.message = "is a folder, not a file";
  if (S_ISFIFO(st.st_mode)) {
    error.message = "is a pipe, not a regular file";
    error.hint = "give - as the file and the pipe as standard input";
  }
  return error;
}

// A file without a name in `folder`.
Result<UniqueFd> unnamed_file(const std::string& folder) {
  // O_EXCL: nobody can give it a name afterwards either.
  UniqueFd fd(open_fd(folder, O_TMPFILE | O_RDWR | O_EXCL, 0600));
  if (fd) return fd;
  // Not every file system has O_TMPFILE, and those say so in many ways; creating and removing works
  // everywhere, and if it does not, its error is the one worth reporting.
  auto random = random_name();
  if (!random) return std::move(random.error());
  const std::string path = folder + "/forewarm-" + *random;
  const std::optional<SignalRemoval> removal(std::in_place, path);
  fd.reset(open_fd(path, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW, 0600));
  if (!fd) return os_error(folder, "cannot create a temporary file in this folder", errno);
  if (::unlink(path.c_str()) != 0) {
    return os_error(path, "cannot remove the temporary file's name", errno);
  }
  return fd;
}

}  // namespace

Result<FileSource> FileSource::open(const std::string& path) {
  // O_NONBLOCK: opening a FIFO must not hang until someone writes to it. It means nothing for
  // regular files. O_NOCTTY: a terminal opened by mistake must not become ours.
  UniqueFd fd(open_fd(path, O_RDONLY | O_NONBLOCK | O_NOCTTY));
  if (!fd) return os_error(path, "cannot open", errno);
  struct stat st {};
  if (::fstat(fd.get(), &st) != 0) return os_error(path, "cannot examine", errno);
  if (!S_ISREG(st.st_mode)) return not_regular(path, st);
  return FileSource(std::move(fd), path, true, identify(st));
}

Result<FileSource> FileSource::filled(const std::string& name,
                                      const std::function<Status(ByteSink&)>& fill) {
  const char* set = std::getenv("TMPDIR");
  const std::string folder = set != nullptr && *set != '\0' ? set : "/tmp";
  auto file = unnamed_file(folder);
  if (!file) return std::move(file.error());

  FdSink sink(file->get(), "temporary copy of " + name + " in " + folder);
  if (auto s = fill(sink); !s) return std::move(s.error());
  if (auto s = sink.flush(); !s) return std::move(s.error());

  struct stat st {};
  if (::fstat(file->get(), &st) != 0) return os_error(name, "cannot examine its copy", errno);
  return FileSource(std::move(*file), name, false, identify(st));
}

Result<FileSource> FileSource::spool(int fd, const std::string& name) {
  return filled(name, [&](ByteSink& sink) -> Status {
    std::vector<char> buffer(FdSink::kBuffer);
    while (true) {
      const ssize_t got = ::read(fd, buffer.data(), buffer.size());
      if (got < 0 && errno == EINTR) continue;
      if (got < 0 && (errno == EAGAIN || errno == EWOULDBLOCK)) {
        wait_readable(fd);
        continue;
      }
      if (got < 0) return os_error(name, "cannot read", errno);
      if (got == 0) return success();
      if (auto s = sink.write({buffer.data(), std::size_t(got)}); !s) return s;
    }
  });
}

Result<std::size_t> FileSource::read_at(std::uint64_t offset, std::span<char> into) {
  if (offset >= size() || into.empty()) return std::size_t{0};
  const auto want = std::size_t(std::min<std::uint64_t>(into.size(), size() - offset));
  while (true) {
    const ssize_t got = ::pread(fd_.get(), into.data(), want, off_t(offset));
    if (got > 0) return std::size_t(got);
    if (got == 0) {
      return Error{.kind = Error::Kind::io,
                   .message = "the file became shorter while it was read",
                   .file = path_};
    }
    if (errno != EINTR) return os_error(path_, "cannot read", errno);
  }
}

Status FileSource::unchanged() const {
  struct stat st {};
  if (::fstat(fd_.get(), &st) != 0) return os_error(path_, "cannot examine", errno);
  bool same = identify(st) == identity_;
  if (same && named_) {
    if (::stat(path_.c_str(), &st) != 0) return os_error(path_, "cannot examine again", errno);
    same = identify(st) == identity_;
  }
  if (same) return success();
  return Error{.kind = Error::Kind::io,
               .message = "the file changed while it was being worked on",
               .file = path_,
               .hint = "run again once no other program writes to it"};
}

}  // namespace forewarm::io
