// One line, read: what it tells a machine, and whether its number follows.
//
// Plain values. `found` and `seconds` are what the rule file's own patterns say of it.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <vector>

#include "gcode/state.h"
#include "gcode/words.h"
#include "rules/recogniser.h"

namespace forewarm::check {

// What one line tells the machine.
struct InterpretedLine {
  gcode::Words words;
  gcode::Effect effect;
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;

  [[nodiscard]] bool feeds() const { return effect.unretracts || effect.delta[gcode::kE] > 0; }
  [[nodiscard]] bool selects() const {
    return effect.selects || says(rules::Recognise::As::change);
  }
  [[nodiscard]] bool says(rules::Recognise::As as) const {
    return std::any_of(found.begin(), found.end(), [as](const auto& r) { return r.as == as; });
  }
  // Whether a machine does anything at all on it.
  [[nodiscard]] bool acts() const {
    return words.kind == gcode::LineKind::named || words.kind == gcode::LineKind::unknown ||
           (words.kind == gcode::LineKind::words && words.count > 0) || seconds || selects() ||
           says(rules::Recognise::As::set) || says(rules::Recognise::As::wait);
  }
};

// Numbers and checksums of lines, as a machine follows them.
struct LineCount {
  std::optional<std::int64_t> last;
  // Whether the line comes in order.
  bool take(const gcode::Words& w) {
    bool in_order = true;
    const bool sets = w.is('M', 110);
    if (w.numbered) {
      in_order = sets || !last || w.number == *last + 1;
      last = w.number;
    }
    if (sets && w.given('N')) last = std::int64_t(w.value('N'));
    return in_order;
  }
};

}  // namespace forewarm::check
