// What a job has asked of each heater so far.
//
// At what target filament moves, what counts as a use, and which wait is only for cooling down.
// After a heater is switched off it is still hot: filament that is pulled then, before anything is
// fed forwards, is pulled at the target before the off. Temperatures in C, 0: none. Lifetime: the
// heads outlive it.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "machine/heads.h"

namespace forewarm::machine {

// No further apart, two targets that jobs give are the same.
constexpr double kSameTargetC = 0.01;

class HeaterTargets {
 public:
  struct Heater {
    double target_c = 0;
    double before_off_c = 0;  // the target before an off that nothing was fed after
    double used_c = 0;        // the target at which a use last began to move filament, or waited
    double highest_c = 0;     // no target has made it hotter since it last cooled down
  };

  explicit HeaterTargets(const Heads& heads) : heads_(heads) {}

  [[nodiscard]] const Heater& operator[](std::size_t head) { return at(head); }
  [[nodiscard]] bool is_hot(std::size_t head, double temp_c) const {
    return temp_c > heads_[head].hotend.ambient_c;
  }
  // How many are on.
  [[nodiscard]] int on() const;
  // Lines that are not the job's have brought a heater to where another one is.
  void copy_from(std::size_t head, const Heater& other);

  // A target; a wait may name none.
  void set(std::size_t head, std::optional<double> temp_c);
  // A wait until the heater has cooled down to that.
  void cool(std::size_t head, double temp_c);
  // Whether a wait for this is one until a heater has cooled down from what it was used at.
  [[nodiscard]] bool cools(std::size_t head, std::optional<double> temp_c, bool waits_for_cooling) {
    return waits_for_cooling && temp_c && *temp_c < at(head).used_c;
  }
  // The target that filament is pulled at, before anything is fed.
  [[nodiscard]] double pulled_at_c(std::size_t head) {
    const Heater& heater = at(head);
    return heater.before_off_c > 0 ? heater.before_off_c : heater.target_c;
  }
  // Filament begins to move in a visit. False: it is pulled cold, which asks for no heat.
  bool begin_use(std::size_t head, bool forwards);
  void use_at(std::size_t head, double temp_c) { at(head).used_c = temp_c; }
  // The job waits for the mounted toolhead.
  void wait(std::size_t head) { at(head).used_c = at(head).target_c; }
  // Filament is fed forwards, by whatever toolhead.
  void feed() {
    if (some_off_) forget_offs();
  }

 private:
  Heater& at(std::size_t head) {
    if (heaters_.size() <= head) heaters_.resize(head + 1);
    return heaters_[head];
  }
  void forget_offs();

  const Heads& heads_;
  std::vector<Heater> heaters_;
  bool some_off_ = false;  // some before_off_c is not 0
};

}  // namespace forewarm::machine
