#include "machine/asked.h"

#include <algorithm>

namespace forewarm::machine {

void Asked::give(std::size_t head, std::optional<double> temp_c) {
  if (!temp_c) return;
  Heater& h = at(head);
  const double to_c = std::max(0.0, *temp_c);
  if (is_hot(head, to_c)) {
    h.before_off_c = 0;
  } else if (is_hot(head, h.target_c)) {
    h.before_off_c = h.target_c;
  }
  h.target_c = to_c;
  h.most_c = std::max(h.most_c, to_c);
}

void Asked::make_as(std::size_t head, const Heater& other) {
  Heater& h = at(head);
  const double most_c = std::max({h.most_c, other.target_c, other.before_off_c});
  h = other;
  h.most_c = most_c;
}

void Asked::cool(std::size_t head, double temp_c) {
  give(head, temp_c);
  at(head).most_c = temp_c;
}

bool Asked::begins(std::size_t head, bool forwards) {
  Heater& h = at(head);
  if (!forwards && !is_hot(head, h.target_c) && h.before_off_c == 0) return false;
  h.used_c = !forwards && h.before_off_c > 0 ? h.before_off_c : h.target_c;
  return true;
}

void Asked::fed() {
  for (Heater& h : heaters_) h.before_off_c = 0;
}

}  // namespace forewarm::machine
