#include "gcode/read_ahead.h"

#include <system_error>

namespace forewarm::gcode {

ReadAhead::ReadAhead(ByteSource& source, std::size_t chunk, bool thread, Watcher* watcher)
    : reader_(source, chunk), watcher_(watcher) {
  if (!thread) return;
  try {
    thread_ = std::thread([this] { work(); });
  } catch (const std::system_error&) {
    // One thread does as well, if not as fast.
  }
}

void ReadAhead::fill(Read& read) {
  std::string_view fresh;
  auto more = reader_.next(read.block, fresh);
  read.more = more.ok() && *more;
  if (!more) {
    read.error = std::move(more.error());
    return;
  }
  if (!fresh.empty() && watcher_ != nullptr && !watcher_->bytes(fresh)) {
    read.stopped = true;
    read.more = false;
  }
  if (read.more) digest(read.block, read.digest);
}

void ReadAhead::work() {
  for (bool more = true; more;) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return stopping_ || filled_ - taken_ < kSlots; });
    if (stopping_) return;
    Read& read = slots_[filled_ % kSlots];
    lock.unlock();
    try {
      fill(read);
    } catch (...) {
      read.thrown = std::current_exception();
      read.more = false;
    }
    more = read.more;
    lock.lock();
    ++filled_;
    lock.unlock();
    changed_.notify_one();
  }
}

const ReadAhead::Read& ReadAhead::next() {
  if (!thread_.joinable()) {
    fill(slots_[0]);
    return slots_[0];
  }
  std::unique_lock lock(mutex_);
  if (in_hand_) {
    ++taken_;
    changed_.notify_one();
  }
  in_hand_ = true;
  changed_.wait(lock, [this] { return filled_ > taken_; });
  const Read& read = slots_[taken_ % kSlots];
  if (read.thrown) std::rethrow_exception(read.thrown);
  return read;
}

void ReadAhead::stop() {
  if (!thread_.joinable()) return;
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
  }
  changed_.notify_one();
  thread_.join();
}

}  // namespace forewarm::gcode
