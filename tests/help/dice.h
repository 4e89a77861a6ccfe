// Random numbers for tests.
#pragma once

#include <random>

namespace forewarm::test {

// The same numbers on every machine, which the distributions of <random> do not promise.
class Dice {
 public:
  explicit Dice(unsigned seed) : engine_(seed) {}
  double between(double low, double high) {
    return low + (high - low) * double(engine_() >> 11U) * 0x1p-53;
  }
  int of(int sides) { return int(between(0, sides)); }
  bool chance(double share) { return between(0, 1) < share; }

 private:
  std::mt19937_64 engine_;
};

}  // namespace forewarm::test
