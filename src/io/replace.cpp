#include "io/replace.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/xattr.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstdlib>
#include <thread>
#include <vector>

#include "io/file_source.h"

namespace forewarm::io {

namespace {

using std::chrono::steady_clock;

constexpr std::string_view kAccessAcl = "system.posix_acl_access";

Error refusal(const std::string& path, std::string message, std::string hint = {}) {
  return Error{.kind = Error::Kind::io,
               .message = std::move(message),
               .file = path,
               .hint = std::move(hint)};
}

// Empty, with errno, when it cannot be resolved.
std::string resolve(const std::string& path) {
  char* resolved = ::realpath(path.c_str(), nullptr);
  if (resolved == nullptr) return {};
  std::string out = resolved;
  std::free(resolved);  // NOLINT: realpath's own allocation
  return out;
}

std::string folder_of(const std::string& absolute) {
  const std::size_t slash = absolute.rfind('/');
  return slash == 0 ? "/" : absolute.substr(0, slash);
}

std::string_view name_of(const std::string& absolute) {
  return std::string_view(absolute).substr(absolute.rfind('/') + 1);
}

Status check_kind(const std::string& path, const struct stat& st) {
  if (S_ISREG(st.st_mode)) return success();
  return refusal(path, S_ISDIR(st.st_mode)    ? "is a folder, not a file"
                       : S_ISFIFO(st.st_mode) ? "is a pipe, not a regular file"
                                              : "is not a regular file");
}

// A hint, and behind it the way to write another file, if the caller knows one.
std::string or_elsewhere(std::string hint, const char* between, const std::string& elsewhere) {
  return elsewhere.empty() ? hint : hint + between + elsewhere;
}

Status check_folder(const std::string& folder, const std::string& elsewhere) {
  if (::access(folder.c_str(), W_OK | X_OK) == 0) return success();
  Error error = os_error(folder, "cannot write to this folder", errno);
  error.hint = or_elsewhere("a file is replaced through a new one in its folder", "; ", elsewhere);
  return error;
}

// What rename() or good manners would forbid is found before the work is done.
Status check_target(const std::string& path, const struct stat& st,
                    const Replacement::Options& options) {
  if (auto s = check_kind(path, st); !s) return s;
  // access() lets root write anything, but who takes away every write bit means it.
  if ((st.st_mode & 0222U) == 0) {
    return refusal(path, "is read-only: its mode lets nobody write to it",
                   or_elsewhere("chmod u+w it", ", or ", options.elsewhere));
  }
  if (::access(path.c_str(), W_OK) != 0) return os_error(path, "cannot write to it", errno);
  if (st.st_nlink > 1 && !options.allow_hard_linked) {
    return refusal(path,
                   "has " + std::to_string(st.st_nlink) +
                       " names (hard links); the others would keep the old bytes",
                   options.elsewhere);
  }
  const std::string folder = folder_of(path);
  if (auto s = check_folder(folder, options.elsewhere); !s) return s;
  struct stat parent {};
  if (::stat(folder.c_str(), &parent) != 0) return os_error(folder, "cannot examine", errno);
  const uid_t self = ::geteuid();
  if ((parent.st_mode & S_ISVTX) != 0 && self != 0 && self != st.st_uid && self != parent.st_uid) {
    return refusal(path, "belongs to another user, in a folder where only they may replace it",
                   options.elsewhere);
  }
  return success();
}

enum class Lock { held, busy, unavailable };

Lock try_lock(UniqueFd& fd, const std::string& path) {
  for (bool writable = false;;) {
    if (::flock(fd.get(), LOCK_EX | LOCK_NB) == 0) return Lock::held;
    if (errno == EINTR) continue;
    if (errno == EWOULDBLOCK) return Lock::busy;
    // NFS locks only what is open for writing. Elsewhere that is avoided: closing such a
    // descriptor looks like a write to programs that watch the folder, even if none happened.
    if (errno == EBADF && !writable) {
      writable = true;
      UniqueFd other(open_fd(path, O_RDWR | O_NONBLOCK | O_NOCTTY | O_NOFOLLOW));
      if (other) {
        fd = std::move(other);
        continue;
      }
    }
    // No locks here. commit() still sees that the file was changed.
    return Lock::unavailable;
  }
}

// Attributes that speak of the very bytes of the old file, or that the kernel drops on every write.
bool bound_to_content(std::string_view name) {
  return name == "security.ima" || name == "security.evm" || name == "security.capability";
}

// Losing these would change what the user or the file's access list says; any others belong to
// the system, which labels the new file itself where it does not let us do it.
bool must_keep(std::string_view name) {
  return name.starts_with("user.") || name.starts_with("system.posix_acl_");
}

// Calls `get(buffer, size)` as the xattr calls want it: once for the size, again for the bytes,
// and again if they grew in between. Nullopt, with errno, on failure.
template <class Get>
std::optional<std::string> sized(Get get) {
  while (true) {
    const ssize_t size = get(static_cast<char*>(nullptr), std::size_t{0});
    if (size < 0) return std::nullopt;
    std::string out(std::size_t(size), '\0');
    if (size == 0) return out;
    const ssize_t got = get(out.data(), out.size());
    if (got >= 0) {
      out.resize(std::size_t(got));
      return out;
    }
    if (errno != ERANGE) return std::nullopt;
  }
}

Status copy_xattrs(int from, int to, const std::string& path) {
  const auto names = sized([&](char* p, std::size_t n) { return ::flistxattr(from, p, n); });
  if (!names) {
    if (errno == ENOTSUP || errno == ENOSYS) return success();
    return os_error(path, "cannot list its extended attributes", errno);
  }
  bool has_acl = false;
  for (std::size_t at = 0; at < names->size();) {
    const std::string name = names->c_str() + at;
    at += name.size() + 1;
    has_acl = has_acl || name == kAccessAcl;
    if (bound_to_content(name)) continue;
    const auto value =
        sized([&](char* p, std::size_t n) { return ::fgetxattr(from, name.c_str(), p, n); });
    if (value && ::fsetxattr(to, name.c_str(), value->data(), value->size(), 0) == 0) continue;
    if (errno == ENODATA || errno == ENOTSUP || !must_keep(name)) continue;
    return os_error(path, "cannot keep its extended attribute " + printable(name), errno);
  }
  // The folder's default access list has given the new file one; the old file had none, and who
  // could not read that shall not read this.
  if (!has_acl && ::fremovexattr(to, kAccessAcl.data()) != 0) {
    const int code = errno;
    if (::fgetxattr(to, kAccessAcl.data(), nullptr, 0) > 0) {
      return os_error(path, "cannot keep its folder's access list off it", code);
    }
  }
  return success();
}

}  // namespace

// Opening such a path anew would start a file at its beginning again, or fail for a socket; and
// replacing the file behind it would leave the shell that redirected us holding the old one.
std::optional<int> own_descriptor(std::string_view path) {
  if (path == "/dev/stdout") return 1;
  if (path == "/dev/stderr") return 2;
  for (const std::string_view prefix : {"/dev/fd/", "/proc/self/fd/"}) {
    if (!path.starts_with(prefix)) continue;
    int number = 0;
    const char* end = path.data() + path.size();
    const auto [rest, code] = std::from_chars(path.data() + prefix.size(), end, number);
    if (code == std::errc{} && rest == end && number >= 0) return number;
  }
  return std::nullopt;
}

Replacement::~Replacement() { discard(); }

void Replacement::discard() {
  if (!temporary_.empty()) (void)::unlink(temporary_.c_str());
  temporary_.clear();
  removal_.reset();
}

Result<std::unique_ptr<Replacement>> Replacement::open(const std::string& path,
                                                       const Options& options) {
  return replace(path, options);
}

Result<std::unique_ptr<Replacement>> Replacement::create(const std::string& path,
                                                         const Options& options) {
  if (const auto number = own_descriptor(path)) {
    UniqueFd fd(::fcntl(*number, F_DUPFD_CLOEXEC, 3));
    if (!fd) return os_error(path, "cannot open", errno);
    return write_to(std::move(fd), path);
  }

  struct stat st {};
  if (::stat(path.c_str(), &st) == 0) {
    if (!S_ISCHR(st.st_mode) && !S_ISFIFO(st.st_mode)) return replace(path, options);
    UniqueFd fd(open_fd(path, O_WRONLY | O_NOCTTY));
    if (!fd) return os_error(path, "cannot open", errno);
    return write_to(std::move(fd), path);
  }
  if (errno != ENOENT) return os_error(path, "cannot examine", errno);
  if (::lstat(path.c_str(), &st) == 0) {
    // Not a link: another run has made it since.
    if (!S_ISLNK(st.st_mode)) return replace(path, options);
    return refusal(path, "is a symbolic link that leads nowhere",
                   "create what it points to, or name another file");
  }

  const std::size_t slash = path.rfind('/');
  const std::string name = slash == std::string::npos ? path : path.substr(slash + 1);
  if (name.empty()) return refusal(path, "is not the name of a file");
  const std::string named_folder = slash == std::string::npos ? "."
                                   : slash == 0               ? "/"
                                                              : path.substr(0, slash);
  std::string folder = resolve(named_folder);
  if (folder.empty()) return os_error(named_folder, "cannot open this folder", errno);
  if (auto s = check_folder(folder, options.elsewhere); !s) return std::move(s.error());

  std::unique_ptr<Replacement> r(new Replacement);  // NOLINT: the constructor is private
  r->elsewhere_ = options.elsewhere;
  r->path_ = folder == "/" ? "/" + name : folder + "/" + name;
  r->folder_ = std::move(folder);
  // The kernel applies the umask, or the folder's default access list, as for any new file.
  if (auto s = r->create_temporary(0666); !s) return std::move(s.error());
  return r;
}

Result<std::unique_ptr<Replacement>> Replacement::write_to(UniqueFd fd, const std::string& path) {
  std::unique_ptr<Replacement> r(new Replacement);  // NOLINT: the constructor is private
  r->path_ = path;
  r->direct_ = true;
  r->fd_ = std::move(fd);
  r->sink_.emplace(r->fd_.get(), path);
  return r;
}

Result<std::unique_ptr<Replacement>> Replacement::replace(const std::string& path,
                                                          const Options& options) {
  std::unique_ptr<Replacement> r(new Replacement);  // NOLINT: the constructor is private
  r->elsewhere_ = options.elsewhere;
  if (auto s = r->lock(path, options); !s) return std::move(s.error());
  // Nobody but us until its owner and mode are the old file's.
  if (auto s = r->create_temporary(0600); !s) return std::move(s.error());
  if (auto s = r->take_owner(); !s) return std::move(s.error());
  return r;
}

Status Replacement::lock(const std::string& path, const Options& options) {
  constexpr std::chrono::milliseconds kPause{20};
  const auto deadline = steady_clock::now() + options.lock_wait;
  while (true) {
    path_ = resolve(path);
    if (path_.empty()) return os_error(path, "cannot open", errno);
    folder_ = folder_of(path_);
    // Looked at before it is opened, since opening a FIFO or a device can have effects.
    struct stat st {};
    if (::stat(path_.c_str(), &st) != 0) return os_error(path_, "cannot examine", errno);
    if (auto s = check_target(path_, st, options); !s) return s;
    original_.reset(open_fd(path_, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_NOFOLLOW));
    if (!original_ && errno != ENOENT) return os_error(path_, "cannot open", errno);

    const Lock got = original_ ? try_lock(original_, path_) : Lock::busy;
    if (got != Lock::busy) {
      // While we waited the other run will have put a new file here. A lock on the old one keeps
      // nobody out, so begin again with the new.
      struct stat opened {};
      if (::fstat(original_.get(), &opened) != 0) {
        return os_error(path_, "cannot examine", errno);
      }
      if (::stat(path_.c_str(), &st) == 0 && st.st_dev == opened.st_dev &&
          st.st_ino == opened.st_ino) {
        if (auto s = check_target(path_, opened, options); !s) return s;
        mode_ = opened.st_mode & 07777U;
        owner_ = opened.st_uid;
        group_ = opened.st_gid;
        return success();
      }
    }
    original_.reset();
    if (steady_clock::now() >= deadline) {
      return refusal(path_, "is being worked on by another program, which holds a lock on it",
                     "run again when that has ended");
    }
    std::this_thread::sleep_for(kPause);
  }
}

Status Replacement::create_temporary(unsigned mode) {
  // A name of 255 bytes is the most that file systems take, and whole UTF-8 characters are the
  // least that some insist on.
  constexpr std::size_t kNameMost = 200;
  std::string_view name = name_of(path_);
  if (name.size() > kNameMost) {
    std::size_t cut = kNameMost;
    while (cut > 0 && (static_cast<unsigned char>(name[cut]) & 0xc0U) == 0x80U) --cut;
    name = name.substr(0, cut);
  }
  constexpr int kTries = 8;  // the second is never needed, short of a broken random source
  int code = EEXIST;
  for (int i = 0; i < kTries && code == EEXIST; ++i) {
    auto random = random_name();
    if (!random) return std::move(random.error());
    // Hidden, and without the job's extension, so that no watcher of the folder takes it for a job.
    std::string candidate = folder_ == "/" ? "/." : folder_ + "/.";
    candidate += name;
    candidate += ".fw-tmp-" + *random;
    removal_.emplace(candidate);
    fd_.reset(open_fd(candidate, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW, mode));
    if (fd_) {
      temporary_ = std::move(candidate);
      sink_.emplace(fd_.get(), path_);
      return success();
    }
    code = errno;
    removal_.reset();
  }
  return os_error(folder_, "cannot create a temporary file in this folder", code);
}

Status Replacement::take_owner() {
  struct stat st {};
  if (::fstat(fd_.get(), &st) != 0) return os_error(temporary_, "cannot examine", errno);
  if (st.st_gid != group_ && ::fchown(fd_.get(), uid_t(-1), group_) != 0) {
    // The group's rights were meant for another group. This one gets what everybody has.
    mode_ &= ~unsigned{S_ISGID};
    mode_ &= ~070U | ((mode_ & 07U) << 3U);
  }
  if (st.st_uid != owner_ && ::fchown(fd_.get(), owner_, gid_t(-1)) != 0) {
    Error error = os_error(path_, "belongs to another user, and would not afterwards", errno);
    error.hint = elsewhere_;
    return error;
  }
  return success();
}

Status Replacement::take_attributes() {
  if (auto s = copy_xattrs(original_.get(), fd_.get(), path_); !s) return s;
  // After the owner, whose change clears bits of the mode, and after the access list, whose mask is
  // the mode's group bits. Only where it differs: file systems without modes refuse to set them.
  struct stat st {};
  if (::fstat(fd_.get(), &st) != 0) return os_error(temporary_, "cannot examine", errno);
  if ((st.st_mode & 07777U) != mode_ && ::fchmod(fd_.get(), mode_) != 0) {
    return os_error(path_, "cannot keep its mode", errno);
  }
  return success();
}

Result<FileSource> Replacement::read_back() {
  if (auto s = sink_->flush(); !s) return std::move(s.error());
  return FileSource::open(temporary_);
}

Status Replacement::prepare(const FileSource* source) {
  prepared_ = true;
  if (auto s = sink_->flush(); !s) return s;
  if (!direct_) {
    if (auto s = original_ ? make_last() : close_new(); !s) return s;
  }
  return source != nullptr ? source->unchanged() : success();
}

Status Replacement::finish(const FileSource* source) {
  if (prepared_) {
    // What was written in between took its time.
    if (auto s = source != nullptr ? source->unchanged() : success(); !s) return s;
  } else if (auto s = prepare(source); !s) {
    return s;
  }
  if (direct_) return success();
  if (::rename(temporary_.c_str(), path_.c_str()) != 0) {
    const int code = errno;
    Error error = os_error(path_, "cannot put the new file in place", code);
    if (code == EBUSY) error.hint = or_elsewhere("it may be a mount point", "; ", elsewhere_);
    return error;
  }
  temporary_.clear();
  removal_.reset();
  if (original_) sync_folder();
  return success();
}

// The old bytes are about to go: the new ones have to be on disk first.
Status Replacement::make_last() {
  if (auto s = take_attributes(); !s) return s;
  // Never retried: after a failed fsync the kernel may count the lost pages as written, and a
  // second call would then say that all is well.
  if (::fsync(fd_.get()) != 0) return os_error(path_, "cannot write to disk", errno);
  return success();
}

// Nothing is lost with a new file, which can be made again: the disk is not waited for.
Status Replacement::close_new() {
  const int code = fd_.close();
  // Interrupted, it is closed all the same.
  if (code != 0 && code != EINTR) return os_error(path_, "cannot write to disk", code);
  return success();
}

Status Replacement::commit(const FileSource* source) {
  Status status = finish(source);
  if (!status) discard();
  fd_.reset();
  original_.reset();
  return status;
}

// The rename is done and seen by everybody; this makes it last. Not every file system can, and some
// folders may be written but not read: neither is worth a word.
void Replacement::sync_folder() {
  const UniqueFd fd(open_fd(folder_, O_RDONLY | O_DIRECTORY));
  if (!fd || ::fsync(fd.get()) == 0) return;
  if (errno == EINVAL || errno == ENOTSUP || errno == ENOSYS || errno == EROFS) return;
  warning_ = os_error(path_,
                      "is written, but its folder could not be synced, so a power cut now could "
                      "bring the old file back",
                      errno);
}

}  // namespace forewarm::io
