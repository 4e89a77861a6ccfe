// Writes a file so that at every moment, also after a crash, its path holds either all of the old
// bytes, where it had any, or all of the new ones.
//
// The bytes go to a temporary file in the same folder, which takes the old file's place by rename()
// once it is complete, on disk, and has the old one's owner, mode and extended attributes. Symbolic
// links stay: the file they lead to is what is replaced. Where there was no file, the new one is
// complete when its name is there, as anybody sees it; but as with other programs' files, a power
// cut soon after can leave it short or empty, or take it away.
//
// Several runs on one file (a slicer may start its hook twice) take turns: open() holds a lock on
// the file until the Replacement goes. So the order is
//     Replacement::open(path), FileSource::open(path), read and plan, sink(), commit(&source)
// and a second run reads what the first one wrote. Programs that know nothing of the lock are
// caught by commit(), which refuses when the source changed since it was opened; only a change in
// the instant between that look and the rename goes unseen.
//
// Contract: errors are of kind io and name the path. Whenever anything fails before the rename the
// target is untouched and the temporary file is gone; the same holds when the Replacement is
// destroyed uncommitted, or on a signal with install_signal_cleanup() (io/cleanup.h). Not
// thread-safe, but different Replacements may be used by different threads.
#pragma once

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "base/error.h"
#include "io/cleanup.h"
#include "io/file_sink.h"
#include "io/posix.h"

namespace forewarm::io {

class FileSource;

// The number of the descriptor of ours that a path stands for, as /dev/stdout and /dev/fd/3 do.
[[nodiscard]] std::optional<int> own_descriptor(std::string_view path);

class Replacement {
 public:
  struct Options {
    // A file with several names is refused, since its other names would keep the old bytes. With
    // this they do.
    bool allow_hard_linked = false;
    // In hints: how the caller's user can have another file written, such as "write elsewhere with
    // -o". Empty: there is no way.
    std::string elsewhere = {};
    // How long to wait for another run on the same file.
    std::chrono::milliseconds lock_wait{30'000};
  };

  // For a file that exists, to be rewritten in place: a regular file that its mode and its folder
  // let us replace. A file whose mode lets nobody write is refused, also for root.
  [[nodiscard]] static Result<std::unique_ptr<Replacement>> open(const std::string& path,
                                                                 const Options& options);
  [[nodiscard]] static Result<std::unique_ptr<Replacement>> open(const std::string& path) {
    return open(path, Options{});
  }

  // For an output named by the user. A regular file is replaced as above; what does not exist is
  // created with the mode that any new file there would get; a character device, a FIFO, or one of
  // our own descriptors (/dev/stdout, /dev/fd/3) is written to directly, without a temporary file.
  [[nodiscard]] static Result<std::unique_ptr<Replacement>> create(const std::string& path,
                                                                   const Options& options);
  [[nodiscard]] static Result<std::unique_ptr<Replacement>> create(const std::string& path) {
    return create(path, Options{});
  }

  ~Replacement();
  Replacement(const Replacement&) = delete;
  Replacement& operator=(const Replacement&) = delete;

  // Where the new bytes go. REQUIRES: not used once commit() was called.
  [[nodiscard]] FdSink& sink() { return *sink_; }

  // What the sink was given, as it lies in the new file. REQUIRES: neither direct() nor committed;
  // nothing is given to the sink afterwards.
  [[nodiscard]] Result<FileSource> read_back();

  // All of commit() but putting the file in place, so that other files can be written between the
  // two that belong to it. REQUIRES: called once at most; nothing is given to the sink afterwards.
  [[nodiscard]] Status prepare(const FileSource* source = nullptr);

  // Puts the new bytes in place. With `source`, only if that is unchanged().
  // REQUIRES: called once at most.
  [[nodiscard]] Status commit(const FileSource* source = nullptr);

  // After a successful commit: set when the file is new and complete, but whether it would survive
  // a power cut right now is not known, since its folder could not be synced. This is no failure:
  // a caller told of one may count on the old file being there.
  [[nodiscard]] const std::optional<Error>& warning() const { return warning_; }

  // The file that is written, symbolic links resolved.
  [[nodiscard]] const std::string& path() const { return path_; }
  // Bytes that were flushed are out and cannot be taken back.
  [[nodiscard]] bool direct() const { return direct_; }

 private:
  Replacement() = default;
  [[nodiscard]] static Result<std::unique_ptr<Replacement>> replace(const std::string& path,
                                                                    const Options& options);
  [[nodiscard]] static Result<std::unique_ptr<Replacement>> write_to(UniqueFd fd,
                                                                     const std::string& path);
  [[nodiscard]] Status lock(const std::string& path, const Options& options);
  [[nodiscard]] Status create_temporary(unsigned mode);
  [[nodiscard]] Status take_owner();
  [[nodiscard]] Status take_attributes();
  [[nodiscard]] Status finish(const FileSource* source);
  [[nodiscard]] Status make_last();
  [[nodiscard]] Status close_new();
  void sync_folder();
  void discard();

  std::string path_;
  std::string folder_;
  std::string elsewhere_;  // as in Options
  std::string temporary_;  // empty when there is none
  std::optional<SignalRemoval> removal_;
  UniqueFd original_;  // holds the lock; not open when the target is new
  UniqueFd fd_;        // what the sink writes to
  std::optional<FdSink> sink_;
  unsigned mode_ = 0;
  unsigned owner_ = 0;
  unsigned group_ = 0;
  bool direct_ = false;
  bool prepared_ = false;
  std::optional<Error> warning_;
};

}  // namespace forewarm::io
