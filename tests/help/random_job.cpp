#include "help/random_job.h"

#include <fmt/format.h>

#include <algorithm>
#include <string_view>
#include <utility>

namespace forewarm::test {

std::string three_heads_with_steps() {
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

std::string RandomJob::length(double mm, int digits) const {
  return inches ? fmt::format("{:.6f}", mm / 25.4) : fmt::format("{:.{}f}", mm, digits);
}
std::string RandomJob::feed(double mm_min) const {
  return inches ? fmt::format("{:.4f}", mm_min / 25.4) : fmt::format("{:.0f}", mm_min);
}
std::string RandomJob::to(char axis, double& at, double mm) {
  const double from = std::exchange(at, mm);
  return axis + length(relative ? mm - from : mm, 2);
}
std::string RandomJob::e_of(double mm) {
  e += mm;
  return "E" + length(absolute_e && !relative ? e : mm, 4);
}
void RandomJob::extrude(double x, double y, double mm, double mm_min) {
  line("G1 " + across(x, y) + " " + e_of(mm) + " F" + feed(mm_min));
}
void RandomJob::print(double seconds) {
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

std::string RandomJob::make() {
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

}  // namespace forewarm::test
