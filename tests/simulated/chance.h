// Random numbers of the simulated machine: the same ones from the same seed on every machine, and a
// stream of its own for each purpose, so that one more exchange does not move the noise of a
// sensor.
//
// Generator: SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
#pragma once

#include <cmath>
#include <cstdint>
#include <string_view>

namespace simulated {

class Chance {
 public:
  Chance(std::uint64_t seed, std::string_view purpose) : state_(seed * 0x9E3779B97F4A7C15U + 1) {
    for (char c : purpose) state_ = (state_ ^ std::uint8_t(c)) * 0x100000001B3U;
    next();
  }
  // From 0 up to, not including, 1.
  double share() { return double(next() >> 11U) * 0x1p-53; }
  // Mean 0, standard deviation 1 (Box and Muller).
  double normal() {
    const double radius = std::sqrt(-2 * std::log(1 - share()));
    return radius * std::cos(2 * 3.14159265358979323846 * share());
  }

 private:
  std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15U);
    z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31U);
  }

  std::uint64_t state_;
};

}  // namespace simulated
