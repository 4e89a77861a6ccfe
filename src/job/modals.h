// Keeps what is in force at the places of a job where a step sequence may go, for Job::modals.
//
// REQUIRES: places come in the order of the text. Of one place the first word counts. Limits are
// kept once for as long as they stay the same; those after the last line that feeds are taken to be
// those of the place kept before it.
#pragma once

#include "job/job.h"

namespace forewarm::job {

class ModalKeeper {
 public:
  void keep(std::uint64_t offset, const gcode::State& state, const motion::Limits& limits);
  // The place after a line that moves filament; only the last such is kept.
  void fed(std::uint64_t offset, const gcode::State& state) { fed_ = {offset, state, 0}; }
  void finish(Job& job);

 private:
  std::vector<Modal> modals_;
  std::vector<motion::Limits> limits_;
  Modal fed_;
};

}  // namespace forewarm::job
