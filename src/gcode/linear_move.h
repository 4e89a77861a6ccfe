// Straight moves, most of any job, read many times faster than by words.
//
// digest() takes a block of whole lines apart. A line that is a G0 or G1 in the usual spelling
// (upper case, only X Y Z E F, plain decimals, maybe a comment behind) comes with its numbers;
// of any other, and of one whose numbers have very many digits, only the length is told, and
// parse() has to read it. What is read is read as parse() and apply() do, to the bit.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>
#include <vector>

#include "gcode/blocks.h"
#include "gcode/state.h"

namespace forewarm::gcode {

class MoveReader;
struct ParsedBlock;

// One line, small, as many of them go from one processor to another.
class LinearMove {
 public:
  enum : std::uint32_t { kHasF = 16 };  // and 1 << kX ... 1 << kE

  [[nodiscard]] bool is() const { return (bits_ & kIs) != 0; }  // a move read whole
  [[nodiscard]] std::uint64_t length() const {                  // of the text
    return length_ != UINT32_MAX ? length_ : std::uint64_t(filament_);
  }
  [[nodiscard]] unsigned ending() const { return bits_ >> kEndingAt & 3U; }  // its bytes: 0, 1, 2

  // REQUIRES of all that follows: is().
  [[nodiscard]] unsigned code() const { return bits_ >> kCodeAt & 1U; }  // of the G
  [[nodiscard]] unsigned given() const { return bits_ & 31U; }
  [[nodiscard]] bool commented() const { return (bits_ & kComment) != 0; }
  // REQUIRES: given. Exact as parse()'s: an integer below 2^53 over a power of ten below 1e22 is
  // rounded once.
  [[nodiscard]] double value(std::size_t axis) const {
    return double(axis < kE ? place_[axis] : filament_) / tens(axis);
  }
  [[nodiscard]] double f() const { return double(feed_) / tens(4); }

 private:
  friend void digest(const Block& block, ParsedBlock& out);
  friend class MoveReader;
  // 5 bits for what is given, then 4 for the decimals of each.
  enum : std::uint32_t {
    kDecimalsAt = 5,
    kCodeAt = 25,
    kEndingAt = 26,
    kIs = 1U << 28U,
    kComment = 1U << 29U
  };
  static constexpr std::array<double, 9> kTens{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8};
  [[nodiscard]] double tens(std::size_t number) const {
    return kTens[bits_ >> (kDecimalsAt + 4 * number) & 15U];
  }
  void end(std::uint64_t length, unsigned ending) {
    bits_ |= ending << kEndingAt;
    length_ = std::uint32_t(length);
    if (length < UINT32_MAX) return;
    bits_ &= ~std::uint32_t{kIs};
    length_ = UINT32_MAX;
    filament_ = std::int64_t(length);
  }

  // Numbers without their points.
  std::array<std::int32_t, 3> place_;
  std::int32_t feed_;
  std::int64_t filament_;
  std::uint32_t length_, bits_;
};
static_assert(sizeof(LinearMove) == 32);

// The lines of a block in order. Made for being used again: no room is given back.
struct ParsedBlock {
  std::vector<LinearMove> lines;
  std::size_t count = 0;  // of `lines`, those that are the block's
};

void digest(const Block& block, ParsedBlock& out);

// Takes over the move as apply() does; its way in mm. REQUIRES: move.is(), not state.inverse_time.
inline void apply(const LinearMove& move, State& state, std::array<double, 4>& delta) {
  constexpr double kInch = 25.4;
  constexpr double kFarthestMm = 1e9;
  const double unit = state.inches ? kInch : 1.0;
  const std::array<bool, 4> adds{state.relative, state.relative, state.relative,
                                 state.relative || state.e_relative};
  const unsigned given = move.given();
  for (std::size_t a = 0; a < 4; ++a) {
    delta[a] = 0;
    if ((given >> a & 1U) == 0) continue;
    double to = move.value(a) * unit;
    if (adds[a]) to += state.position[a];
    if (!(to <= kFarthestMm && to >= -kFarthestMm)) continue;
    delta[a] = to - state.position[a];
    state.position[a] = to;
  }
  delta[kE] *= state.mm_per_e;
  if ((given & LinearMove::kHasF) != 0) {
    const double f = move.f();
    if (f > 0) state.feed_mm_s = f * unit / 60;
  }
  state.motion = int(move.code());
}

}  // namespace forewarm::gcode
