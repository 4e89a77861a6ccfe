// What else happens while a heater comes back: tools are changed, and other heaters draw power.
//
// From it follows how early the rules want a heater to be given its target (the lead), worked out
// here from the rule file's errors alone, apart from how a plan does it: needed time + z times the
// standard deviation of all that lies between the command and the need. Wall seconds, watts.
#pragma once

#include <cstddef>
#include <vector>

#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::check {

class Surroundings {
 public:
  explicit Surroundings(const rules::Rules& rules);

  // A change of tool; its variance is that of spread_s2().
  void changed(double from_s, double to_s, double variance_s2);
  // A heater at full drive, and when it would be warm; what it was thought to go on for after
  // `from_s` is given up.
  void driven(std::size_t head, double from_s, double to_s, double warm_s, double watts);
  void forget_before(double time_s);

  // Seconds that the rules want between a command at `at_s`, when the heater is as in `from`, and a
  // need at `need_s`, for which it has to have settled or not.
  [[nodiscard]] double lead_s(const thermal::Hotend& hotend, const thermal::HeaterState& from,
                              double to_c, double at_s, double need_s, bool settles = true) const;
  // Whether `head` could have drawn `watts` all that time without exceeding the limit, had every
  // other heater drawn its own until it was warm.
  [[nodiscard]] bool power_free(std::size_t head, double watts, double from_s, double to_s) const;
  [[nodiscard]] bool limited() const { return rules_.machine.heating_limit_w.has_value(); }
  // What all draw at full drive at `time_s`, and may draw.
  [[nodiscard]] double drawn_w(double time_s) const;
  [[nodiscard]] double limit_w() const {
    return rules_.machine.heating_limit_w.value_or(1e18) - rules_.machine.bed_w;
  }
  // The variance of a change, in seconds squared, by the spreads of [gap].
  [[nodiscard]] double spread_s2(bool parks, bool picks, bool exchanges) const;

 private:
  struct Change {
    double from_s, to_s, variance_s2;
  };
  struct Drive {
    std::size_t head;
    double from_s, to_s, warm_s, watts;
  };
  const rules::Rules& rules_;
  double z_ = 0;
  std::vector<Change> changes_;
  std::vector<Drive> drives_;
};

}  // namespace forewarm::check
