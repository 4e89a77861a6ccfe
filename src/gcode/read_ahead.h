// A text in digested blocks, watched as they are read, by a thread of its own if wished.
//
// The same blocks come in the same order either way. With a thread, a few blocks are read ahead of
// the one in hand, and the source belongs to that thread until stop(); whoever would have to wait
// for a block takes one apart instead. What goes wrong in it comes
// out of next(), in its turn. REQUIRES: one thread uses a ReadAhead; the source and the watcher
// outlive it.
#pragma once

#include <array>
#include <condition_variable>
#include <exception>
#include <mutex>
#include <optional>
#include <thread>

#include "base/bytes.h"
#include "gcode/blocks.h"
#include "gcode/linear_move.h"

namespace forewarm::gcode {

class ReadAhead {
 public:
  // Sees every byte once, in order, on the thread that reads: not to be touched before stop().
  class Watcher {
   public:
    virtual ~Watcher() = default;
    // False: what comes is of no use to anybody. Nothing more is read.
    [[nodiscard]] virtual bool bytes(std::string_view fresh) = 0;
  };
  struct Read {
    bool more = false;     // else this is the end, and there is no block
    bool stopped = false;  // the watcher has: likewise
    std::optional<Error> error;
    Block block;
    ParsedBlock digest;
  };

  // Where no thread can be had it does without.
  ReadAhead(ByteSource& source, std::size_t chunk, bool thread, Watcher* watcher = nullptr);
  ~ReadAhead() { stop(); }
  ReadAhead(const ReadAhead&) = delete;
  ReadAhead& operator=(const ReadAhead&) = delete;

  // Valid until the next call. REQUIRES: the one before was not the end, nor had an error.
  [[nodiscard]] const Read& next();
  // Nothing is read any more once this is back.
  void stop();

 private:
  static constexpr std::size_t kSlots = 6;
  struct Slot {
    enum class State : std::uint8_t { raw, busy, ready };
    State state = State::raw;
    Read read;
    std::exception_ptr thrown;
  };
  void read(Read& into);
  [[nodiscard]] Slot* raw();
  static void digest_one(Slot& slot, std::unique_lock<std::mutex>& lock);
  void work();

  BlockReader reader_;
  Watcher* watcher_;
  std::array<Slot, kSlots> slots_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::size_t filled_ = 0, taken_ = 0;  // blocks so far; the one in hand counts as not yet taken
  bool in_hand_ = false, stopping_ = false;
  std::thread thread_;
};

}  // namespace forewarm::gcode
