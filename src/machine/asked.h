// What a job has asked of each heater so far, by its text alone.
//
// For whoever follows a job without time: at what target filament moves, what counts as a use, and
// what is only waited for until it has cooled down. A heater that is switched off is let go of: it
// is still hot, and what is pulled then, before anything is fed forwards, is pulled at the target
// that it had. Temperatures in C, 0: none. Lifetime: the heads outlive it.
#pragma once

#include <optional>
#include <vector>

#include "machine/heads.h"

namespace forewarm::machine {

class Asked {
 public:
  struct Heater {
    double target_c = 0;
    double before_off_c = 0;  // the target before an off that nothing was fed after
    double used_c = 0;        // the target at which a use last began to move filament, or waited
    double most_c = 0;        // no target has made it hotter than that
  };

  explicit Asked(const Heads& heads) : heads_(heads) {}

  [[nodiscard]] const Heater& operator[](std::size_t head) { return at(head); }
  [[nodiscard]] bool is_hot(std::size_t head, double temp_c) const {
    return temp_c > heads_[head].hotend.ambient_c;
  }
  // Lines that are not the job's have brought a heater to where another one is.
  void make_as(std::size_t head, const Heater& other);

  // A target; a wait may name none.
  void give(std::size_t head, std::optional<double> temp_c);
  // A wait until it has cooled down to that.
  void cool(std::size_t head, double temp_c);
  // Whether a wait for this is one until a heater has cooled down from what it was used at.
  [[nodiscard]] bool cools(std::size_t head, std::optional<double> temp_c, bool waits_for_cooling) {
    return waits_for_cooling && temp_c && *temp_c < at(head).used_c;
  }
  // Filament begins to move in a visit. False: it is pulled cold, which asks for no heat.
  bool begins(std::size_t head, bool forwards);
  // What is mounted is waited for.
  void waits(std::size_t head) { at(head).used_c = at(head).target_c; }
  void fed();  // forwards, by whatever toolhead

 private:
  Heater& at(std::size_t head) {
    if (heaters_.size() <= head) heaters_.resize(head + 1);
    return heaters_[head];
  }
  const Heads& heads_;
  std::vector<Heater> heaters_;
};

}  // namespace forewarm::machine
