// Straight moves, most of any job, read many times faster than by words.
//
// digest() takes a block of whole lines apart. A line that is a G0 or G1 in the usual spelling
// (upper case, only X Y Z E F, plain decimals, maybe a comment behind) comes with its numbers;
// of any other only the length is told, and parse() has to read it. What is read is read as
// parse() and apply() do, to the bit.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>
#include <vector>

#include "gcode/blocks.h"
#include "gcode/state.h"

namespace forewarm::gcode {

struct Straight {
  enum : std::uint8_t { kHasF = 16 };  // and 1 << kX ... 1 << kE
  std::uint64_t length = 0;            // of the text
  std::uint8_t ending = 0;             // bytes of it: 0, 1 or 2
  bool is = false;                     // else only what is above counts
  std::uint8_t code = 0;               // of the G
  std::uint8_t given = 0;
  std::array<double, 5> value;  // x y z e f, where given
};

// The lines of a block in order. Made for being used again: no room is given back.
struct Digest {
  std::vector<Straight> lines;
  std::size_t count = 0;  // of `lines`, those that are the block's
};

void digest(const Block& block, Digest& out);

// The same of one line, given without its ending. False where parse() has to read it: also for a
// line longer than moves are.
[[nodiscard]] bool read_straight(std::string_view text, Straight& line);

// Takes over the move as apply() does; its way in mm. REQUIRES: move.is, not state.inverse_time.
inline void apply(const Straight& move, State& state, std::array<double, 4>& delta) {
  constexpr double kInch = 25.4;
  constexpr double kFarthestMm = 1e9;
  const double unit = state.inches ? kInch : 1.0;
  const std::array<bool, 4> adds{state.relative, state.relative, state.relative,
                                 state.relative || state.e_relative};
  for (std::size_t a = 0; a < 4; ++a) {
    delta[a] = 0;
    if ((move.given >> a & 1U) == 0) continue;
    double to = move.value[a] * unit;
    if (adds[a]) to += state.position[a];
    if (!(to <= kFarthestMm && to >= -kFarthestMm)) continue;
    delta[a] = to - state.position[a];
    state.position[a] = to;
  }
  if ((move.given & Straight::kHasF) != 0 && move.value[4] > 0) {
    state.feed_mm_s = move.value[4] * unit / 60;
  }
  state.motion = move.code;
}

}  // namespace forewarm::gcode
