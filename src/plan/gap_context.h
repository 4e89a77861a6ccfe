// One gap as a decision sees it, knowing neither job nor places: its heater, its deadlines, and
// where commands can stand.
//
// Pure, in seconds from the gap's start, degrees Celsius. A floor is what a parked heater cools
// towards: a standby temperature, or 0 for off.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "plan/lead_time.h"
#include "thermal/hotend.h"

namespace forewarm::plan {

// How much warmer than by itself a parked heater can wait for the heating limit: at standby, or not
// let cool at all.
enum class Warmth : std::uint8_t { standby, hot };

struct GapContext {
  thermal::Hotend hotend;
  double start_c = 0;         // temperature at the start
  double start_target_c = 0;  // target there
  // The heater at the start, perhaps in the midst of a drive; without it, as if its target were
  // new.
  std::optional<thermal::HeaterState> start = {};
  double standby_c = 0, max_hot_idle_s = 0;
  double ready_c = 0;                   // what the preheat sets
  bool after_pause = false;             // starts behind a pause, as cold as it may be by then
  std::optional<double> parked_s = {};  // until it is picked; without it, until the first deadline
  struct Deadline {
    double after_s;
    double temp_c;
    bool exchange = false;  // the feeder's, not the print's
    // What is waited for is a minimum, so much below temp_c: it is over without settling.
    std::optional<double> window_c = {};
  };
  std::vector<Deadline> deadlines;  // ascending; empty: no use comes after
  // Changes of tool, ascending, on a clock that shows `start_s` when the gap starts.
  std::span<const ChangeoverTime> changeovers = {};
  double start_s = 0;
  // With a heating limit, no heater is driven up only to stand by.
  bool limited = false;
  std::optional<double> preheat_at_s = {};  // the preheat's moment, where the heating limit sets it
  double least_floor_c = 0;                 // ... and what it cools towards, at the least
  std::optional<Warmth> warmth = {};        // ... or how warm it waits, where it does
  // The last moment, no later than the given one, at which a command can stand. Any, if empty.
  std::function<double(double)> line_at = {};
};

// How long the toolhead is parked. REQUIRES: there are deadlines.
[[nodiscard]] double length_s(const GapContext& context);
// The temperature of standby in this gap: no hotter than it has to be afterwards. 0 if there is
// none, as with a heating limit no heater is driven up to it.
[[nodiscard]] double standby_of(const GapContext& context);
// What the heater cools towards if it waits so warm: no less than ready_c if it need not be driven
// again. Nothing if it cannot without being driven up first, or would be hot for longer than
// max_hot_idle_s.
[[nodiscard]] std::optional<double> warmer_floor(const GapContext& context, Warmth warmth);
// Seconds for which standby leaves it hot: cooling down, and coming back.
[[nodiscard]] double hot_at_standby_s(const GapContext& context);
[[nodiscard]] thermal::HeaterState heater_at_start(const GapContext& context);

// The hotend as the wait of a deadline has it: one for a minimum needs no settling.
[[nodiscard]] thermal::Hotend hotend_for(const GapContext& context,
                                         const GapContext::Deadline& deadline);

// The heater `after_s` into a gap in which it cools towards a floor: whether it is driven up to
// that first, as it starts below; its temperature; the seconds from there until a wait for `to_c`
// would be over; and whether it is held at the floor by then.
[[nodiscard]] bool starts_below(const GapContext& context, double floor_c);
[[nodiscard]] thermal::HeaterState driven_to_floor(const GapContext& context, double floor_c,
                                                   double after_s);
[[nodiscard]] double parked_c(const GapContext& context, double floor_c, double after_s);
[[nodiscard]] double heating_s(const GapContext& context, double floor_c, double after_s,
                               double to_c);
[[nodiscard]] bool held_at(const thermal::Hotend& hotend, double floor_c, double temp_c);

}  // namespace forewarm::plan
