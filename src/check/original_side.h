// What the original asks of the machine, by its text alone: what it mounts, and at what target each
// filament moves.
//
// Calls come in the order of the text. Temperatures in C, 0: off or none. Times are those of the
// rewritten job. Lifetime: the heads outlive it.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "check/heads.h"
#include "check/line_count.h"
#include "machine/ending.h"
#include "machine/heater_targets.h"

namespace forewarm::check {

class OriginalSide {
 public:
  explicit OriginalSide(Heads& heads) : heads_(heads), changer_(heads), targets_(heads) {}

  // A line of the original. True: with it the first print move comes.
  [[nodiscard]] bool follow(const InterpretedLine& line, double now_s);
  // A line that feeds. True: it is the first print move. `across`: it moves across the bed.
  [[nodiscard]] bool feed(bool across) {
    ++feeds_;
    ending_.fed();
    targets_.feed();
    (void)changer_.feeding();
    return across && !std::exchange(started_, started_ || across);
  }
  // Whether the line's number follows.
  bool take_number(const gcode::Words& words) { return count_.take(words); }

  [[nodiscard]] int tool() const { return changer_.tool(); }
  [[nodiscard]] std::size_t mounted() const { return changer_.mounted(); }
  [[nodiscard]] std::size_t head_of(const machine::HeaterAddress& address) {
    return changer_.head_of(address);
  }
  [[nodiscard]] bool started() const { return started_; }       // the first print move has come
  [[nodiscard]] std::uint64_t feeds() const { return feeds_; }  // lines that feed

  [[nodiscard]] double target_c(std::size_t head) { return targets_[head].target_c; }
  // Where filament is pulled before any is fed: an off takes the target away, but not at once the
  // heat.
  [[nodiscard]] double pulled_at_c(std::size_t head) { return targets_.pulled_at_c(head); }
  [[nodiscard]] bool is_hot(std::size_t head, double temp_c) const {
    return targets_.is_hot(head, temp_c);
  }
  // At which the heater was last used: filament moved, or was waited for.
  [[nodiscard]] double used_c(std::size_t head) { return targets_[head].used_c; }
  void use_at(std::size_t head, double temp_c) { targets_.use_at(head, temp_c); }
  // What the mounted toolhead was last waited for in this visit.
  [[nodiscard]] std::optional<double> wait_c() const { return wait_c_; }
  void end_visit() { wait_c_.reset(); }
  // Whether the heater was given a target since the last take_lowest_c().
  [[nodiscard]] bool target_given(std::size_t head) { return lowest_c(head) < kNoTarget; }
  // The lowest target since the last such call.
  [[nodiscard]] double take_lowest_c(std::size_t head) {
    return std::exchange(lowest_c(head), kNoTarget);
  }
  // Whether the heater is no hotter by now, by itself, if the time here tells.
  [[nodiscard]] bool has_cooled(std::size_t head, double temp_c, double now_s);

  [[nodiscard]] machine::Ending ending(bool open_line) const {
    return ending_.ending(open_line, targets_.on());
  }

 private:
  static constexpr double kNoTarget = 1e9;
  // Since when the original has a heater at less than before.
  struct Drop {
    double at_s = 0, from_c = 0;
  };

  void set_target(const Operation& operation, double now_s);
  double& lowest_c(std::size_t head) {
    if (lowest_c_.size() <= head) lowest_c_.resize(head + 1, kNoTarget);
    return lowest_c_[head];
  }

  const Heads& heads_;
  ToolChanger changer_;
  machine::HeaterTargets targets_;
  machine::EndingWatch ending_;
  LineCount count_;
  std::vector<double> lowest_c_;       // by toolhead
  std::map<std::size_t, Drop> drops_;  // by toolhead
  std::optional<double> wait_c_;
  bool started_ = false;
  std::uint64_t feeds_ = 0;
};

}  // namespace forewarm::check
