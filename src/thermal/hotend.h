// A hotend as a first-order system, in closed form.
//
// Undriven: T' = -(T - ambient)/tau. At full drive, dead_time_s after drive begins:
// T' = (full_drive_c - T)/tau. At its target a thermostat holds it, which costs
// power_w * (T - ambient)/(full_drive_c - ambient). During the dead time it goes on as before:
// cooling if it was undriven, held if it was held.
// Formula: lumped capacitance, (T - T_inf)/(T_i - T_inf) = exp(-t/tau) (Incropera & DeWitt,
// Fundamentals of Heat and Mass Transfer, ch. 5).
//
// Units: degrees Celsius, seconds, watts, joules. REQUIRES: time_constant_s > 0,
// full_drive_c > ambient_c, dead_time_s >= 0. Pure values: no clock, no allocation.
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
};

// Temperature after cooling undriven for `seconds`.
[[nodiscard]] double cooled_c(const Hotend& h, double from_c, double seconds);
// Seconds to cool undriven; 0 if already there, infinity at or below ambient.
[[nodiscard]] double seconds_to_cool(const Hotend& h, double from_c, double to_c);
// Temperature after `seconds` of full drive, dead time over.
[[nodiscard]] double driven_c(const Hotend& h, double from_c, double seconds);
// Seconds from the command until `to_c`, starting undriven: the dead time (cooling on) and the
// climb. 0 if from_c >= to_c; infinity if full drive never gets there.
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
  // At full drive in this moment (dead time included: current flows).
  [[nodiscard]] bool full_drive() const;
  // Seconds until temperature first reaches `at_least_c` under the present target; 0 if there,
  // infinity if never.
  [[nodiscard]] double seconds_until_warm(double at_least_c) const;
  // Seconds until temperature has fallen to `at_most_c` under the present target.
  [[nodiscard]] double seconds_until_cool(double at_most_c) const;

 private:
  struct Phase;
  [[nodiscard]] Phase phase() const;
  [[nodiscard]] double seconds_until(double level_c, bool warming) const;

  Hotend hotend_;
  double temperature_c_;
  double target_c_ = 0;
  double dead_left_s_ = 0;  // of the drive that is under way
  bool was_held_ = false;   // what the dead time continues
};

}  // namespace forewarm::thermal
