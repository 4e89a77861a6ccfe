// Numbers and checksums of lines, as a machine follows them.
#pragma once

#include <cstdint>
#include <optional>

#include "gcode/words.h"

namespace forewarm::check {

class LineCount {
 public:
  // Whether the line comes in order.
  bool take(const gcode::Words& words) {
    bool in_order = true;
    const bool sets = words.is('M', 110);
    if (words.numbered) {
      in_order = sets || !last_ || words.number == *last_ + 1;
      last_ = words.number;
    }
    if (sets && words.given('N')) last_ = std::int64_t(words.value('N'));
    return in_order;
  }

 private:
  std::optional<std::int64_t> last_;
};

}  // namespace forewarm::check
