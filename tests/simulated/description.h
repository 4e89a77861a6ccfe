// What a simulated machine is like: its heaters, toolheads, motion and habits, as values and as
// JSON.
//
// The file is its own, not a rule file: it has what rule files cannot say (two lags, a controller,
// spreads, noise), and a machine unlike the rules is what tests need. Every key may be left out and
// has the default below then; a key that is not known is an error.
// Units are in the names; shares and odds are 0 to 1. Errors: std::runtime_error, with the key's
// path.
#pragma once

#include <array>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace simulated {

// Normally distributed; never under half of the mean, nor more than four deviations off.
struct Spread {
  double mean_s = 0, sd_s = 0;

  template <class K, class F>
  static void each(K& k, F f) {
    f("mean_s", k.mean_s);
    f("sd_s", k.sd_s);
  }
};

struct HeaterKind {
  int index = 0;
  double full_drive_c = 443, time_constant_s = 187;  // of the block, at full drive
  double cool_time_constant_s = 0;                   // undriven; 0: time_constant_s
  double sensor_lag_s = 3.1;  // the second lag: from the block to what is read
  double dead_time_s = 0.6;   // until drive begins to act at all
  double gain_per_c = 0.05;   // of the controller: drive for each degree missing
  double integral_s = 60, integral_limit = 0.15;  // its integral part
  double hold_factor = 1.02;  // what it takes for the drive that holds a target / what that is
  double drive_sd = 0;        // of what full drive adds, a share; drawn anew for each climb
  double noise_c = 0.1;       // of what is read: its standard deviation
  double step_c = 0.1;        // and its steps; 0: none

  template <class K, class F>
  static void each(K& k, F f) {
    f("index", k.index);
    f("full_drive_c", k.full_drive_c);
    f("time_constant_s", k.time_constant_s);
    f("cool_time_constant_s", k.cool_time_constant_s);
    f("sensor_lag_s", k.sensor_lag_s);
    f("dead_time_s", k.dead_time_s);
    f("gain_per_c", k.gain_per_c);
    f("integral_s", k.integral_s);
    f("integral_limit", k.integral_limit);
    f("hold_factor", k.hold_factor);
    f("drive_sd", k.drive_sd);
    f("noise_c", k.noise_c);
    f("step_c", k.step_c);
  }
};

struct BedKind {
  bool instant = false;  // it is at its target as soon as that is given, and stays there
  HeaterKind heater{.index = -1,
                    .full_drive_c = 150,
                    .time_constant_s = 420,
                    .cool_time_constant_s = 0,
                    .sensor_lag_s = 8,
                    .dead_time_s = 2,
                    .gain_per_c = 0.2};

  template <class K, class F>
  static void each(K& k, F f) {
    f("instant", k.instant);
    f("heater", k.heater);
  }
};

struct ToolheadKind {
  std::string name;
  std::vector<int> tools;
  int heater = 0;  // HeaterKind::index
  Spread park{6.8, 0.4}, pick{7.3, 0.5}, exchange{36, 3};
  double pick_stop_odds = 0, exchange_stop_odds = 0;  // that somebody has to come
  std::map<std::string, double> hot_above_c;  // by T number: parked and above that is hot idle

  template <class K, class F>
  static void each(K& k, F f) {
    f("name", k.name);
    f("tools", k.tools);
    f("heater", k.heater);
    f("park", k.park);
    f("pick", k.pick);
    f("exchange", k.exchange);
    f("pick_stop_odds", k.pick_stop_odds);
    f("exchange_stop_odds", k.exchange_stop_odds);
    f("hot_above_c", k.hot_above_c);
  }
};

struct MotionKind {
  std::string corner = "right_angle";  // or "deviation", "jerk"
  double right_angle_mm_s = 6;         // the speed through a right angle
  double deviation_mm = 0.02;
  std::array<double, 4> jerk_mm_s{8, 8, 0.4, 5};  // x y z e, here and below
  std::array<double, 4> max_speed_mm_s{350, 350, 15, 70};
  std::array<double, 4> max_accel_mm_s2{6000, 6000, 250, 5000};
  double accel_mm_s2 = 3000;
  int look_ahead = 24;     // moves that it holds
  double time_factor = 1;  // every move takes so much longer than planned
  double time_sd = 0;      // of that factor; drawn anew after each change
  double arc_chord_mm = 0.7;

  template <class K, class F>
  static void each(K& k, F f) {
    f("corner", k.corner);
    f("right_angle_mm_s", k.right_angle_mm_s);
    f("deviation_mm", k.deviation_mm);
    f("jerk_mm_s", k.jerk_mm_s);
    f("max_speed_mm_s", k.max_speed_mm_s);
    f("max_accel_mm_s2", k.max_accel_mm_s2);
    f("accel_mm_s2", k.accel_mm_s2);
    f("look_ahead", k.look_ahead);
    f("time_factor", k.time_factor);
    f("time_sd", k.time_sd);
    f("arc_chord_mm", k.arc_chord_mm);
  }
};

// A wait for heating ends once what is read has been no more than `within_c` below the target for
// `stay_s`, and has taken `least_s`. Where `counts_before`, time there before the wait counts; else
// the stay begins with the wait, and is `warm_stay_s` if it was there already. A wait both ways, R,
// never counts before.
struct WaitKind {
  double within_c = 1, stay_s = 3, warm_stay_s = 0, least_s = 0.6;
  bool counts_before = true;
  double give_up_s = 1800;

  template <class K, class F>
  static void each(K& k, F f) {
    f("within_c", k.within_c);
    f("stay_s", k.stay_s);
    f("warm_stay_s", k.warm_stay_s);
    f("least_s", k.least_s);
    f("counts_before", k.counts_before);
    f("give_up_s", k.give_up_s);
  }
};

struct Description {
  double ambient_c = 22;
  double control_s = 0.1;                  // the beat of sensors and controllers
  std::string temperature_index = "tool";  // or "heater": what T means on M104 and M109
  // When M104 and M140 act and M118 is answered: when "read", ahead of the motion that is held, or
  // when "done".
  std::string settings = "done", echoes = "read";
  double homing_s = 22, report_s = 1;
  double stop_least_s = 90, stop_mean_s = 600;  // exponentially distributed above the least
  WaitKind wait;
  MotionKind motion;
  BedKind bed;
  std::vector<HeaterKind> heaters{HeaterKind{}};
  std::vector<ToolheadKind> toolheads{
      ToolheadKind{.name = "head", .tools = {0}, .heater = 0, .hot_above_c = {}}};

  template <class K, class F>
  static void each(K& k, F f) {
    f("ambient_c", k.ambient_c);
    f("control_s", k.control_s);
    f("temperature_index", k.temperature_index);
    f("settings", k.settings);
    f("echoes", k.echoes);
    f("homing_s", k.homing_s);
    f("report_s", k.report_s);
    f("stop_least_s", k.stop_least_s);
    f("stop_mean_s", k.stop_mean_s);
    f("wait", k.wait);
    f("motion", k.motion);
    f("bed", k.bed);
    f("heaters", k.heaters);
    f("toolheads", k.toolheads);
  }
};

Description description_of(const nlohmann::json& json);
nlohmann::ordered_json json_of(const Description& description);

}  // namespace simulated
