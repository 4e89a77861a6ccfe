// Keeps what is in force at the places of a job where a step sequence may go, for Job::modals.
//
// REQUIRES: places come in the order of the text, and limits() comes first. Of one place the first
// word counts. Limits are kept once for as long as they stay the same.
#pragma once

#include "job/job.h"

namespace forewarm::job {

class ModalKeeper {
 public:
  void limits(const motion::Limits& limits);  // from here on
  void keep(std::uint64_t offset, const gcode::State& state);
  // The place after a line that moves filament; only the last such before a select is kept.
  void fed(std::uint64_t offset, const gcode::State& state) {
    fed_ = {offset, state, limits_.size() - 1};
  }
  // To be called before what a select changes is kept.
  void select();
  void finish(Job& job);

 private:
  std::vector<Modal> modals_;
  std::vector<motion::Limits> limits_;
  Modal fed_;
};

}  // namespace forewarm::job
