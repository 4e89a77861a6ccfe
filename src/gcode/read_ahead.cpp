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

void ReadAhead::read(Read& into) {
  std::string_view fresh;
  auto more = reader_.next(into.block, fresh);
  into.more = more.ok() && *more;
  if (!more) {
    into.error = std::move(more.error());
    return;
  }
  if (!fresh.empty() && watcher_ != nullptr && !watcher_->bytes(fresh)) {
    into.stopped = true;
    into.more = false;
  }
}

// The first block that waits to be digested, if any. REQUIRES: the lock is held.
ReadAhead::Slot* ReadAhead::raw() {
  for (std::size_t i = taken_; i < filled_; ++i) {
    Slot& slot = slots_[i % kSlots];
    if (slot.state == Slot::State::raw) return &slot;
  }
  return nullptr;
}

// Either thread does so, each one block at a time.
void ReadAhead::digest_one(Slot& slot, std::unique_lock<std::mutex>& lock) {
  slot.state = Slot::State::busy;
  lock.unlock();
  digest(slot.read.block, slot.read.digest);
  lock.lock();
  slot.state = Slot::State::ready;
}

void ReadAhead::work() {
  std::unique_lock lock(mutex_);
  bool ended = false;
  for (;;) {
    const auto may_read = [&] { return !ended && filled_ - taken_ < kSlots; };
    changed_.wait(lock, [&] { return stopping_ || may_read() || raw() != nullptr || ended; });
    if (stopping_) return;
    // Reading comes first while there is room: then the other thread has something to digest, too,
    // should it have to wait.
    if (may_read()) {
      Slot& slot = slots_[filled_ % kSlots];
      lock.unlock();
      try {
        read(slot.read);
      } catch (...) {
        slot.thrown = std::current_exception();
        slot.read.more = false;
      }
      lock.lock();
      ended = !slot.read.more;
      slot.state = ended ? Slot::State::ready : Slot::State::raw;
      ++filled_;
    } else if (Slot* slot = raw(); slot != nullptr) {
      try {
        digest_one(*slot, lock);
      } catch (...) {
        lock.lock();
        slot->thrown = std::current_exception();
        slot->state = Slot::State::ready;
      }
    } else {
      return;  // all is read and digested, or the other thread is at it
    }
    changed_.notify_one();
  }
}

const ReadAhead::Read& ReadAhead::next() {
  if (!thread_.joinable()) {
    Read& only = slots_[0].read;
    read(only);
    if (only.more) digest(only.block, only.digest);
    return only;
  }
  std::unique_lock lock(mutex_);
  if (in_hand_) {
    ++taken_;
    changed_.notify_one();
  }
  in_hand_ = true;
  const Slot& slot = slots_[taken_ % kSlots];
  const auto ready = [&] { return filled_ > taken_ && slot.state == Slot::State::ready; };
  while (!ready()) {
    if (Slot* other = raw(); other != nullptr) {
      digest_one(*other, lock);
    } else {
      changed_.wait(lock, [&] { return ready() || raw() != nullptr; });
    }
  }
  if (slot.thrown) std::rethrow_exception(slot.thrown);
  return slot.read;
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
