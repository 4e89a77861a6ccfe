// A hotend with a thermostat that follows a script of targets, and records of it.
#pragma once

#include <algorithm>
#include <cstdio>
#include <functional>
#include <string>
#include <vector>

#include "help/dice.h"

namespace forewarm::test {

// A hotend with a thermostat, stepped finely, that samples are taken of.
struct Machine {
  double ambient_c = 23, full_c = 450, tau_s = 180, cool_tau_s = 180, dead_s = 2;
  double strength = 1;             // of what full drive adds
  double temp_c = 23, band_c = 6;  // within band_c of the target the drive falls to what holds it
  double now_s = 0, drive = 0;
  // Whether the thermostat acts when a row is written, and not between; as one does that writes
  // down what it does. Else rows show what it does at that moment.
  bool by_rows = true, acts = false;
  std::vector<double> drives = {};
  static constexpr double kStep = 0.05;

  [[nodiscard]] double wanted(double target_c) const {
    if (target_c <= 0) return 0;
    const double hold = (target_c - ambient_c) / (full_c - ambient_c);
    return std::clamp(hold + (target_c - temp_c) / band_c * (1 - hold), 0.0, 1.0);
  }

  void step(double target_c) {
    if (acts || !by_rows) drive = wanted(target_c);
    acts = false;
    drives.push_back(drive);
    const auto lag = std::size_t(dead_s / kStep);
    const double late = drives.size() > lag ? drives[drives.size() - 1 - lag] : 0;
    const double tau = late > 0 ? tau_s : cool_tau_s;
    temp_c += kStep / tau * (ambient_c + late * strength * (full_c - ambient_c) - temp_c);
    now_s += kStep;
  }
};

struct Phase {
  double target_c, seconds, strength = 1;
};
inline const std::vector<Phase> kUpAndDown{{0, 20},    {215, 300}, {0, 500},
                                           {170, 200}, {210, 200}, {0, 500}};

using Shown = std::function<std::string(const Machine&, double target_c, double noise_c)>;

inline std::string record_of(Machine m, const std::vector<Phase>& phases, double every_s,
                             unsigned seed, double noise_c, const Shown& shown) {
  Dice dice(seed);
  std::string out;
  double next_s = 0;
  for (const Phase& p : phases) {
    const double end_s = m.now_s + p.seconds;
    m.strength = p.strength;
    while (m.now_s < end_s) {
      if (m.now_s >= next_s) {
        double noise = -6;
        for (int i = 0; i < 12; ++i) noise += dice.between(0, 1);
        m.acts = true;
        m.drive = m.wanted(p.target_c);
        out += shown(m, p.target_c, noise * noise_c);
        next_s += every_s * dice.between(0.5, 1.5);
      }
      m.step(p.target_c);
    }
  }
  return out;
}

inline std::string row(const Machine& m, double target_c, double noise_c) {
  char line[100];
  std::snprintf(line, sizeof line, "%.2f,%.2f,%.1f,%.3f\n", m.now_s, m.temp_c + noise_c, target_c,
                m.drive);
  return line;
}
inline const std::string kHead = "time_s,temp_c,target_c,drive\n";

}  // namespace forewarm::test
