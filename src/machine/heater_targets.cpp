#include "machine/heater_targets.h"

#include <algorithm>

namespace forewarm::machine {

int HeaterTargets::on() const {
  return int(std::count_if(heaters_.begin(), heaters_.end(),
                           [](const Heater& heater) { return heater.target_c > 0; }));
}

void HeaterTargets::set(std::size_t head, std::optional<double> temp_c) {
  if (!temp_c) return;
  Heater& heater = at(head);
  const double to_c = std::max(0.0, *temp_c);
  if (is_hot(head, to_c)) {
    heater.before_off_c = 0;
  } else if (is_hot(head, heater.target_c)) {
    heater.before_off_c = heater.target_c;
    some_off_ = true;
  }
  heater.target_c = to_c;
  heater.highest_c = std::max(heater.highest_c, to_c);
}

void HeaterTargets::copy_from(std::size_t head, const Heater& other) {
  Heater& heater = at(head);
  const double highest_c = std::max({heater.highest_c, other.target_c, other.before_off_c});
  heater = other;
  heater.highest_c = highest_c;
  some_off_ = true;
}

void HeaterTargets::cool(std::size_t head, double temp_c) {
  set(head, temp_c);
  at(head).highest_c = temp_c;
}

bool HeaterTargets::begin_use(std::size_t head, bool forwards) {
  Heater& heater = at(head);
  if (!forwards && !is_hot(head, heater.target_c) && heater.before_off_c == 0) return false;
  heater.used_c = forwards ? heater.target_c : pulled_at_c(head);
  return true;
}

void HeaterTargets::forget_offs() {
  for (Heater& heater : heaters_) heater.before_off_c = 0;
  some_off_ = false;
}

}  // namespace forewarm::machine
