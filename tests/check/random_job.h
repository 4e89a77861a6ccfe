// Random small jobs of the trail map's kind: three toolheads, one of them with a feeder.
//
// The same seed gives the same job. Times between changes are drawn so that all treatments come up:
// gaps of seconds, minutes and an hour; exchanges; exchanges while parked; own targets in gaps.
#pragma once

#include <fmt/format.h>

#include <random>
#include <string>
#include <utility>
#include <vector>

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
inline std::string three_heads_with_steps() {
  std::string text = kThreeHeads;
  const auto after = [&text](std::string_view line, std::string_view more) {
    text.insert(text.find(line) + line.size(), "\n" + std::string(more));
  };
  after("name = \"ash\"",
        "before_park = \"tuck\"\nafter_pick = \"untuck\"\nat_last_use = \"withdraw\"");
  after("name = \"birch\"",
        "before_park = \"tuck-short\"\nafter_pick = \"untuck-short\"\nmax_flow_mm3_s = 20");
  for (const char* tool : {"1", "2", "3"}) {
    after("tool = " + std::string(tool),
          "before_exchange = \"shape-tip\"\nafter_exchange = \"charge\"");
  }
  after("tool = 2", "exchange_c = 200\nat_last_use = \"shape-tip\"");
  after("tool = 3", "exchange_c = 225");
  return text + R"(
[steps]
tuck = [ { feed_mm = -12, speed_mm_s = 35 }, { lift_mm = 0.8 } ]
untuck = [ { feed_mm = 12, speed_mm_s = 12 }, { back = true } ]
tuck-short = [ { lift_mm = 2 }, { feed_mm = -3.25 }, { move_mm = { x = 300, y = 12 } }, { dwell_s = 0.5 } ]
untuck-short = [ { feed_mm = 3.25, speed_mm_s = 8 } ]
withdraw = [ { feed_mm = -40, speed_mm_s = 20 } ]
shape-tip = [ { feed_mm = 4, speed_mm_s = 7 }, { fan = 1.0 }, { feed_mm = -22, speed_mm_s = 60 }, { temp_offset_c = -20 }, { dwell_s = 1.5 } ]
charge = [ { move_mm = { x = 310, y = 20 }, speed_mm_s = 200 }, { feed_mm = 40, speed_mm_s = 4 }, { back = true } ]
)";
}

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
  [[nodiscard]] std::string length(double mm, int digits) const {
    return inches ? fmt::format("{:.6f}", mm / 25.4) : fmt::format("{:.{}f}", mm, digits);
  }
  [[nodiscard]] std::string feed(double mm_min) const {
    return inches ? fmt::format("{:.4f}", mm_min / 25.4) : fmt::format("{:.0f}", mm_min);
  }
  std::string to(char axis, double& at, double mm) {
    const double from = std::exchange(at, mm);
    return axis + length(relative ? mm - from : mm, 2);
  }
  std::string e_of(double mm) {
    e += mm;
    return "E" + length(absolute_e && !relative ? e : mm, 4);
  }
  std::string across(double x, double y) { return to('X', at_x, x) + " " + to('Y', at_y, y); }
  void extrude(double x, double y, double mm, double mm_min) {
    line("G1 " + across(x, y) + " " + e_of(mm) + " F" + feed(mm_min));
  }
  void print(double seconds) {
    double left = seconds;
    while (left > 0) {
      const double x = between(20, 280);
      const double y = between(20, 280);
      line("G0 " + across(x, y) + " F" + feed(9000));
      const double s = std::min(left, between(1, 6));
      const double mm_s = between(8, 40);
      const double mm = std::min(150.0, s * mm_s);
      const double end = x > 150 ? x - mm : x + mm;
      extrude(end, y, mm * 0.03, mm_s * 60);
      left -= mm / mm_s + 0.5;
    }
    // A retraction, and back.
    line("G1 " + e_of(-0.8) + " F" + feed(2400));
    line("G1 " + e_of(0.8) + " F" + feed(2400));
  }

  std::string make() {
    constexpr double kWork[] = {215, 210, 205, 220, 240};
    absolute_e = below(3) == 0;
    line(inches ? "G20" : "G21");
    line("G90");
    line(absolute_e ? "M82" : "M83");
    line("G28");
    if (relative) line("G91");
    if (other_modes) line(below(2) == 0 ? "G18" : "G19");
    int tool = int(below(5));
    line(fmt::format("M104 T{} S{:.0f}", tool, kWork[tool]));
    if (below(2) == 0) line(fmt::format("M104 T{} S{:.0f}", (tool + 2) % 5, kWork[(tool + 2) % 5]));
    line(fmt::format("T{}", tool));
    line(fmt::format("M109 T{} S{:.0f}", tool, kWork[tool]));
    line("G92 E0");
    e = 0;
    const std::uint64_t changes = 3 + below(12);
    print(between(5, 60));
    for (std::uint64_t i = 0; i < changes; ++i) {
      if (below(3) == 0) line(fmt::format("; == level {}", i));
      z += 0.2;
      line("G0 " + to('Z', at_z, z) + " F" + feed(600));
      if (other_modes) {
        const std::uint64_t mode = below(6);
        if (mode == 0) line(fmt::format("M106 S{}", below(256)));
        if (mode == 1) line("G92 E0"), e = 0;
        if (mode == 2) line(relative ? "M400" : "G92 X" + length(at_x += 3, 2));
        if (mode == 4) line(fmt::format("M221 S{}", 90 + 5 * below(5)));
        if (mode == 5) line(relative ? "G91" : absolute_e ? "M82" : "M83");
      }
      int next = int(below(5));
      if (next == tool) next = (next + 1) % 5;
      if (below(2) == 0) line(fmt::format("M104 T{} S{:.0f}", tool, between(140, 180)));
      line(fmt::format("T{}", next));
      if (below(4) != 0) {
        line(fmt::format("M109 T{} S{:.0f}", next, kWork[next]));
      } else {
        line(fmt::format("M104 T{} S{:.0f}", next, kWork[next]));
      }
      tool = next;
      const std::uint64_t kind = below(10);
      print(kind < 5 ? between(3, 90) : kind < 9 ? between(90, 900) : between(900, 3000));
      if (below(4) == 0) {
        line(fmt::format("M104 S{:.0f}", kWork[tool] - 5));
        print(between(5, 30));
        line(fmt::format("M104 S{:.0f}", kWork[tool]));
      }
    }
    line("M104 T0 S0");
    return text;
  }
};

}  // namespace forewarm::test
