#include "machine/ending.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace forewarm::machine {

std::string Ending::warning() const {
  if (!broken_off()) return {};
  std::string on;
  if (bed_c) on = fmt::format("the bed at {:g} C", *bed_c);
  if (heaters > 0) {
    on +=
        fmt::format("{}{} toolhead{}", on.empty() ? "" : " and ", heaters, heaters == 1 ? "" : "s");
  }
  return fmt::format(
      "it breaks off{}: nothing after its last move that feeds ends it, and it leaves {} on; is it "
      "whole?",
      open_line ? " within a line" : "", on);
}

void EndingWatch::take(const gcode::Words& words, bool off) {
  using gcode::LineKind;
  if (off || words.kind == LineKind::named) {
    end_code_ = true;  // perhaps a macro that ends it
    return;
  }
  if (words.kind != LineKind::words) return;
  const double target = words.value_or('S', words.value_or('R', -1));
  if (words.is('M', 140) || words.is('M', 190)) {
    if (target >= 0) bed_c_ = target;
    end_code_ |= target == 0;
    return;
  }
  // Heaters off, motors off, power off, end of the program, homing, a toolhead put away.
  constexpr std::array<double, 6> kEnds{2, 18, 30, 81, 84, 112};
  end_code_ |= (words.is('M', 104) || words.is('M', 109)) && target == 0;
  end_code_ |= std::any_of(kEnds.begin(), kEnds.end(), [&](double m) { return words.is('M', m); });
  end_code_ |= words.is('G', 28) || (words.given('T') && words.value('T') == -1);
}

}  // namespace forewarm::machine
