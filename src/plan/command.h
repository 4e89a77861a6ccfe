// A command that a plan inserts into the job: where it stands, what it does, where it comes from.
//
// Solving works on drafts, which have no words yet: describe.h finds these from a draft's origin
// once the plan is settled.
#pragma once

#include <cstdint>
#include <string>

#include "job/job.h"

namespace forewarm::plan {

struct Origin {
  enum class Kind : std::uint8_t {
    start,        // [dialect] job_start
    end,          // [dialect] job_end
    action,       // an action of a gap's decision
    step,         // a line of a step sequence
    lower,        // ... down from the lift with which it ended
    exchange,     // a wait before an exchange
    hotter,       // the target in an exchange
    print,        // a wait before a use
    back,         // back from a target of the job's own
    cooling,      // the job waits for the heater to cool down ...
    cooled_down,  // ... and it has
    pause,        // parked, it waits for a pause of the job
    // [dialect] echo, see echoes.h; `of` is its number.
    echo_start,
    echo_leave,
    echo_there,
    echo_ready,
    echo_end,
  };
  Kind kind = Kind::start;
  std::uint32_t part = 0;  // of the decision's actions, of the sequence's or the dialect's lines
  std::uint32_t of = 0;    // the gap, or the sequence
  [[nodiscard]] bool is_echo() const { return kind >= Kind::echo_start; }
};

struct CommandDraft {
  enum class Kind : std::uint8_t { set, wait, raw };
  job::Place at;  // inserted before the line that begins here
  double temp_c = 0;
  double seconds = 0;      // that a step takes, but for waiting
  std::uint32_t head = 0;  // of job.heads
  int tool = 0;            // the next use's, else the last's
  int rank = 0;            // order at one place
  Kind kind = Kind::set;
  bool preheat = false;
  bool step = false;  // of a sequence, with whose name the reason begins
  Origin origin = {};
};

struct Command : CommandDraft {
  std::string raw;  // of Kind::raw, as [dialect] or a sequence gives it
  std::string reason;
  double early_s = 0;  // an echo: motion may go on for so long when it is said
};

}  // namespace forewarm::plan
