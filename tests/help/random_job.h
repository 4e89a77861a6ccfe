// Random small jobs of the trail map's kind: three toolheads, one of them with a feeder.
//
// The same seed gives the same job. Times between changes are drawn so that all treatments come up:
// gaps of seconds, minutes and an hour; exchanges; exchanges while parked; own targets in gaps.
#pragma once

#include <random>
#include <string>

namespace forewarm::test {

inline const char* const kThreeHeads = R"(
version = 1
[machine]
ambient_c = 23
[[toolhead]]
name = "ash"
tools = [0]
heater = { index = 0, power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 2, max_c = 290 }
[[toolhead]]
name = "birch"
tools = [1, 2, 3]
heater = { index = 1, power_w = 50, full_drive_c = 450, time_constant_s = 180, dead_time_s = 2, max_c = 290 }
park_s = 6
pick_s = 7
exchange_s = 33
[[toolhead]]
name = "cedar"
tools = [4]
heater = { index = 2, power_w = 40, full_drive_c = 400, time_constant_s = 150, dead_time_s = 1, max_c = 280 }
[[filament]]
tool = 0
standby_c = 170
[[filament]]
tool = 1
standby_c = 165
[[filament]]
tool = 2
standby_c = 170
[[filament]]
tool = 3
standby_c = 160
max_hot_idle_s = 240
[[filament]]
tool = 4
standby_c = 190
)";

// The same with a step sequence at every point there is.
std::string three_heads_with_steps();

struct RandomJob {
  std::mt19937_64 random;
  explicit RandomJob(std::uint64_t seed) : random(seed) {}
  std::uint64_t below(std::uint64_t n) { return random() % n; }
  double between(double a, double b) { return a + (b - a) * double(random() % 10001) / 10000; }

  std::string text;
  double z = 0.2;
  bool absolute_e = false;
  double e = 0;
  // Other ways to say the same: in inches, each move from the last point (G91), in another plane,
  // with G93 for a move now and then.
  bool inches = false, relative = false, other_modes = false;
  double at_x = 0, at_y = 0, at_z = 0;

  void line(const std::string& s) { text += s + "\n"; }
  [[nodiscard]] std::string length(double mm, int digits) const;
  [[nodiscard]] std::string feed(double mm_min) const;
  std::string to(char axis, double& at, double mm);
  std::string e_of(double mm);
  std::string across(double x, double y) { return to('X', at_x, x) + " " + to('Y', at_y, y); }
  void extrude(double x, double y, double mm, double mm_min);
  void print(double seconds);
  std::string make();
};

}  // namespace forewarm::test
