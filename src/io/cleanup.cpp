#include "io/cleanup.h"

#include <signal.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cstring>

namespace forewarm::io {

namespace {

enum State : int {
  kFree,     // nobody's
  kFilling,  // its owner writes the path
  kArmed,    // the path stands; a handler may take it
  kTaken,    // a handler has it, for good: the process is ending
};

struct Slot {
  std::atomic<int> state{kFree};
  std::array<char, 4096> path{};
};
static_assert(std::atomic<int>::is_always_lock_free, "the handler must not block");

constexpr std::array kSignals{SIGINT, SIGTERM, SIGHUP};

std::array<Slot, 64> table;  // untouched slots cost no memory

extern "C" void remove_and_end(int signal_number) {
  for (Slot& slot : table) {
    int armed = kArmed;
    if (slot.state.compare_exchange_strong(armed, kTaken)) (void)::unlink(slot.path.data());
  }
  // SA_RESETHAND has put the default action back; the signal itself is blocked while we are here.
  sigset_t only{};
  sigemptyset(&only);
  sigaddset(&only, signal_number);
  (void)raise(signal_number);
  (void)pthread_sigmask(SIG_UNBLOCK, &only, nullptr);
  _exit(128 + signal_number);  // not reached, unless someone ignores the signal this very moment
}

}  // namespace

void install_signal_cleanup() {
  for (const int signal_number : kSignals) {
    struct sigaction old {};
    if (sigaction(signal_number, nullptr, &old) == 0 && old.sa_handler == SIG_IGN) continue;
    struct sigaction action {};
    action.sa_handler = remove_and_end;
    action.sa_flags = SA_RESETHAND;
    sigemptyset(&action.sa_mask);
    for (const int other : kSignals) sigaddset(&action.sa_mask, other);
    (void)sigaction(signal_number, &action, nullptr);
  }
}

void hold_signals() {
  sigset_t held;
  sigemptyset(&held);
  for (const int signal_number : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&held, signal_number);
  (void)pthread_sigmask(SIG_BLOCK, &held, nullptr);
}

void ignore_write_signals() {
  for (const int signal_number : {SIGPIPE, SIGXFSZ}) {
    struct sigaction action {};
    action.sa_handler = SIG_IGN;
    (void)sigaction(signal_number, &action, nullptr);
  }
}

SignalRemoval::SignalRemoval(const std::string& path) {
  for (std::size_t i = 0; i < table.size(); ++i) {
    Slot& slot = table[i];
    if (path.size() >= slot.path.size()) return;
    int free = kFree;
    if (!slot.state.compare_exchange_strong(free, kFilling)) continue;
    std::memcpy(slot.path.data(), path.c_str(), path.size() + 1);
    slot.state.store(kArmed);
    slot_ = int(i);
    return;
  }
}

SignalRemoval::~SignalRemoval() {
  if (slot_ < 0) return;
  int armed = kArmed;
  // Fails only when a handler has taken the slot; then the process is ending and it stays taken.
  (void)table[std::size_t(slot_)].state.compare_exchange_strong(armed, kFree);
}

}  // namespace forewarm::io
