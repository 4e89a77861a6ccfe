// A job's text in digested blocks, watched as they are read, by a thread of its own if wished.
//
// The same blocks come in the same order either way. With a thread, a few blocks are read ahead of
// the one in hand, and the source belongs to that thread until stop(). What goes wrong in it comes
// out of next(), in its turn. REQUIRES: one thread uses a ReadAhead.
#pragma once

#include <array>
#include <condition_variable>
#include <exception>
#include <mutex>
#include <optional>
#include <thread>

#include "base/bytes.h"
#include "gcode/blocks.h"
#include "gcode/straight.h"
#include "job/byte_watch.h"

namespace forewarm::job {

class ReadAhead {
 public:
  struct Read {
    bool more = false;  // else this is the end, and there is no block
    bool nul = false, marks = false;
    std::optional<Error> error;
    gcode::Block block;
    gcode::Digest digest;

   private:
    friend class ReadAhead;
    std::exception_ptr thrown;
  };

  // Where no thread can be had it does without.
  ReadAhead(ByteSource& source, std::size_t chunk, bool thread);
  ~ReadAhead() { stop(); }
  ReadAhead(const ReadAhead&) = delete;
  ReadAhead& operator=(const ReadAhead&) = delete;

  // Valid until the next call. REQUIRES: the one before was not the end, nor had an error.
  [[nodiscard]] const Read& next();
  // Nothing is read any more once this is back.
  void stop();
  // XXH3 of all bytes. REQUIRES: stopped, at the end.
  [[nodiscard]] std::uint64_t hash() const { return watch_.hash(); }

 private:
  static constexpr std::size_t kSlots = 4;
  void fill(Read& read);
  void work();

  gcode::BlockReader reader_;
  ByteWatch watch_;
  std::array<Read, kSlots> slots_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::size_t filled_ = 0, taken_ = 0;  // blocks so far; the one in hand counts as not yet taken
  bool in_hand_ = false, stopping_ = false;
  std::thread thread_;
};

}  // namespace forewarm::job
