// A heater as machines have them: two lags in series between drive and sensor, and a controller
// that drives it fully while far from the target, less and less near it, and learns the rest.
//
//   block:   tau1 y1' = gain u - y1, undriven with a tau1 of its own;  sensor: tau2 y2' = y1 - y2
//   control: u = what is taken to hold the target + gain_per_c * missing + integral, within 0 and 1
//
// Both lags are solved exactly from beat to beat, the drive being constant between them; the step
// response is 1 - (tau1 exp(-t/tau1) - tau2 exp(-t/tau2))/(tau1 - tau2), any text on control. What
// is read has noise and is quantised; only the controller, waits and reports go by it. No clock, no
// files.
#pragma once

#include <vector>

#include "chance.h"
#include "description.h"

namespace simulated {

class Heater {
 public:
  Heater(const HeaterKind& kind, double ambient_c, double beat_s, Chance noise, Chance climbs);

  void set_target(double target_c);
  void beat();                     // goes on by beat_s
  void beat_driven(double drive);  // the same, the controller left out
  [[nodiscard]] double target_c() const { return target_c_; }
  [[nodiscard]] double read_c() const { return read_c_; }      // as the machine reads it
  [[nodiscard]] double sensor_c() const { return sensor_c_; }  // without noise
  [[nodiscard]] double drive() const { return drive_; }
  [[nodiscard]] const HeaterKind& kind() const { return kind_; }
  [[nodiscard]] double hold_drive(double at_c) const;  // what holds it there, 0 to 1
  void put_at(double temperature_c);                   // block and sensor alike

 private:
  void read();

  HeaterKind kind_;
  double ambient_c_, beat_s_;
  Chance noise_, climbs_;
  double left_driven_, left_undriven_, left_sensor_;  // of a difference, after a beat
  double target_c_ = 0, integral_ = 0, drive_ = 0, strength_ = 1;
  double block_c_, sensor_c_, read_c_;
  std::vector<double> on_the_way_;  // drives that do not act yet
  std::size_t oldest_ = 0;
};

}  // namespace simulated
