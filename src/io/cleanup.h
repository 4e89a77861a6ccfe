// Removes half-written files when a signal ends the program, and turns the signals that a failing
// write raises into plain errors.
//
// This holds the one piece of process-wide mutable state in the project. It has to be global: a
// signal handler is given nothing but the signal's number, and SIGINT, SIGTERM and SIGHUP end the
// process without running a single destructor. It is a table of fixed size because a handler may
// neither allocate nor lock; a slot is owned by whoever moved its state last, so the handler never
// reads a path that another thread is writing.
//
// Contract: SignalRemoval may be used from any thread, whether or not the handlers are installed.
// With the table full, or a path longer than a slot, the entry protects nothing: the file is then
// still removed by its owner's destructor, only not on a signal. Nor is a file removed that another
// thread creates in the instant between the handler's sweep and the end of the process.
#pragma once

#include <string>

namespace forewarm::io {

// Makes SIGINT, SIGTERM and SIGHUP remove every registered file and then end the process by that
// same signal, so that a calling shell or slicer sees what happened. A signal that was ignored when
// the program started (nohup, a background job) stays ignored. Only cli/ calls this, once.
void install_signal_cleanup();

// From now on those signals wait until the process ends by itself: what is being put in place is to
// be reported as done. REQUIRES: the end is near.
void hold_signals();

// Makes a write to a closed pipe fail with EPIPE and one over the file size limit with EFBIG, where
// both would otherwise kill the process before it could tidy up. Only cli/ calls this, once.
void ignore_write_signals();

// While it lives, a signal removes `path`. Take it before the file is created: a file that does not
// exist yet is no harm to remove, one that nobody removes is.
// REQUIRES: path is absolute, and no file but the one about to be created will ever have it.
class SignalRemoval {
 public:
  explicit SignalRemoval(const std::string& path);
  ~SignalRemoval();
  SignalRemoval(const SignalRemoval&) = delete;
  SignalRemoval& operator=(const SignalRemoval&) = delete;

  [[nodiscard]] bool active() const { return slot_ >= 0; }

 private:
  int slot_ = -1;
};

}  // namespace forewarm::io
