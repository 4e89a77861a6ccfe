// What a rewritten job makes the machine say, and where: its echoes, as they stand in the job.
// Those of the job itself count as well: a measuring job (record/measuring_job.h) has no others.
//
// The numbers of the echoes are taken as they are; which change each belongs to is told by its
// place. An echo `rests` where motion is over when the machine reads it, so that its time is that
// of the machine: where its mark says so (it does not say by how much it may be early, or by no
// more than kLittleS), or behind a select, a wait, a dwell, or a command that waits for motion.
// Elsewhere firmware may answer ahead of the moves that it holds, and the time is too early by
// them.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "record/record.h"

namespace forewarm::review {

inline constexpr double kLittleS = 0.2;

struct Say {
  record::Echo::What what = record::Echo::What::start;
  std::uint64_t number = 0;
  std::uint64_t offset = 0;  // of its line
  bool rests = false;
};

// Lines of a step sequence that stand together: [from, to) in bytes.
struct StepRun {
  std::uint64_t from = 0, to = 0;
};

class Script {
 public:
  // Printed lines in their order, as rewrite::as_printed gives them.
  void lines(std::string_view bytes, std::uint64_t offset, bool inserted);

  [[nodiscard]] const std::vector<Say>& says() const { return says_; }
  [[nodiscard]] const std::vector<StepRun>& steps() const { return steps_; }
  // Whether its filaments have moved to other tools.
  [[nodiscard]] bool moved() const { return moved_; }

 private:
  void own_lines(std::string_view bytes, std::uint64_t offset);
  void follow(std::string_view bytes);

  std::vector<Say> says_;
  std::vector<StepRun> steps_;
  bool moved_ = false;
  std::string last_command_;  // the last line that is more than a comment
};

}  // namespace forewarm::review
