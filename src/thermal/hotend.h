// A hotend as a first-order system, in closed form.
//
// Undriven: T' = -(T - ambient)/cooling_s(). At full drive, dead_time_s after drive begins:
// T' = (full_drive_c - T)/time_constant_s. Within approach_c of its target S a controller lets the
// drive fall linearly to what holds it, so T' = (S - T)/approach_s(S), with approach_s(S) =
// time_constant_s/(1 + (full_drive_c - S)/approach_c). At its target it is held, which costs
// power_w * (T - ambient)/(full_drive_c - ambient). During the dead time it goes on as before:
// cooling if it was undriven, held if it was held.
// A target is reached within reached_c of it, unless the dead time still takes it out of that
// again; a wait that follows heating is over settle_s after that. What only approach_c would cross
// in the end, within kRoundingC, is there. Formula: lumped capacitance, (T - T_inf)/(T_i - T_inf) =
// exp(-t/tau) (Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, ch. 5). Within
// approach_c it is that of a proportional controller on a first-order system, whose time constant
// is tau/(1 + gain) (any text on control).
//
// Units: degrees Celsius, seconds, watts, joules. REQUIRES: time_constant_s > 0,
// full_drive_c > ambient_c, all others >= 0; reached_c > 0 with approach_c > 0. Pure values: no
// clock, no allocation.
#pragma once

namespace forewarm::thermal {

// Temperatures that differ by no more than rounding leaves are the same.
inline constexpr double kRoundingC = 1e-9;

struct Hotend {
  double power_w = 40;
  double full_drive_c = 450;  // where full drive would end up if nothing stopped it
  double time_constant_s = 180;
  double dead_time_s = 0;
  double ambient_c = 23;
  double cool_time_constant_s = 0;  // undriven; 0: time_constant_s
  double approach_c = 0;            // within this of its target it is no longer at full drive
  double reached_c = 0;             // within this of its target it is there
  double settle_s = 0;              // from there until the machine's own wait is over

  [[nodiscard]] double cooling_s() const {
    return cool_time_constant_s > 0 ? cool_time_constant_s : time_constant_s;
  }
  // Whether full drive ends just when a wait is over, and not before.
  [[nodiscard]] bool driven_until_ready() const {
    return approach_c <= 0 && reached_c <= 0 && settle_s <= 0;
  }
  // The time constant of what is left to `target_c` within approach_c, which is > 0.
  // REQUIRES: target_c < full_drive_c.
  [[nodiscard]] double approach_s(double target_c) const {
    return time_constant_s / (1 + (full_drive_c - target_c) / approach_c);
  }
};

// Temperature after cooling undriven for `seconds`.
[[nodiscard]] double cooled_c(const Hotend& h, double from_c, double seconds);
// Seconds to cool undriven; 0 if already there, infinity at or below ambient.
[[nodiscard]] double seconds_to_cool(const Hotend& h, double from_c, double to_c);
// Temperature after `seconds` of full drive, dead time over.
[[nodiscard]] double driven_c(const Hotend& h, double from_c, double seconds);
// Seconds from the command until a wait for `to_c` is over, starting undriven: the dead time
// (cooling on), the climb, and settling. 0 if from_c >= to_c, or if it stays within reached_c with
// nothing to settle; infinity if full drive never gets there.
[[nodiscard]] double seconds_to_heat(const Hotend& h, double from_c, double to_c);
// The same, starting held at `from_c`, where it stays for the dead time.
[[nodiscard]] double seconds_to_heat_held(const Hotend& h, double from_c, double to_c);
// Watts that holding `at_c` draws; 0 at or below ambient, power_w at most.
[[nodiscard]] double hold_w(const Hotend& h, double at_c);

// What a heater could do in a gap: cool undriven from `from_c` (to `floor_c` at the lowest, where
// it is held), then be driven so as to be at `to_c` exactly `gap_s` after the start. Where it
// could not dip below `to_c` and be back in time, it is commanded on reaching `to_c` and held. A
// floor above `from_c`, or at ambient or below, holds nothing.
struct Dip {
  double dip_c;         // the lowest temperature; below the floor if it crosses it in the dead time
  double preheat_at_s;  // seconds into the gap at which full drive is commanded, 0 <= . <= gap_s
  double late_s;        // > 0: even driving at once is this late; infinity: never there
};
[[nodiscard]] Dip dip_of_gap(const Hotend& h, double from_c, double to_c, double floor_c,
                             double gap_s);

// What a stretch of time cost.
struct HeaterUsage {
  double energy_j = 0;
  double above_s = 0;       // seconds above the threshold asked about
  double full_drive_s = 0;  // seconds at full drive
  double lowest_c = 1e9;    // lowest temperature met
  void add(const HeaterUsage& other);
};

// A heater with its thermostat, advanced through time by targets. Starts off. A new target does not
// restart the dead time of a drive that is under way; one below the temperature ends the drive.
// Settling begins anew with each new target above the temperature.
class HeaterState {
 public:
  HeaterState(const Hotend& hotend, double temperature_c);

  // target_c <= ambient (e.g. 0) is off.
  void set_target(double target_c);
  // Advances by `seconds` >= 0, finite; the result says what happened, with time above
  // `threshold_c`.
  HeaterUsage advance(double seconds, double threshold_c = 1e9);

  [[nodiscard]] double temperature_c() const { return temperature_c_; }
  [[nodiscard]] double target_c() const { return target_c_; }
  // At full drive in this moment (dead time included: current flows), and for how long still:
  // infinity if it never reaches its target.
  [[nodiscard]] bool full_drive() const;
  [[nodiscard]] double full_drive_s() const;
  // Seconds until a wait for `at_least_c` would be over under the present target: reached and,
  // unless that does not matter, settled. 0 if it is, infinity if never.
  [[nodiscard]] double seconds_until_warm(double at_least_c, bool settled = true) const;
  // Seconds until temperature first is at `at_least_c` itself.
  [[nodiscard]] double seconds_until_at(double at_least_c) const;
  // Seconds until temperature has fallen to `at_most_c` under the present target.
  [[nodiscard]] double seconds_until_cool(double at_most_c) const;

 private:
  struct Phase;
  [[nodiscard]] Phase phase() const;
  [[nodiscard]] double seconds_until(double level_c, bool warming) const;
  [[nodiscard]] bool settles_at(double target_c) const;
  void settle(double from_c, double toward_c, double time_constant_s, double seconds);

  Hotend hotend_;
  double temperature_c_;
  double target_c_ = 0;
  double dead_left_s_ = 0;  // of the drive that is under way
  bool was_held_ = false;   // what the dead time continues
  double settle_left_s_ = 0;
};

}  // namespace forewarm::thermal
