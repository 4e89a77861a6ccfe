// What numbers of a rule file may be, each inclusive unless said.
//
// Apart from reader.h, so that who only tries values need not know of TOML.
#pragma once

#include <string>

namespace forewarm::rules {

// What a finite number may be; others never are admitted.
struct Limits {
  double low, high;
  bool above_low = false;  // low itself is not allowed

  [[nodiscard]] bool admit(double value) const;
  [[nodiscard]] std::string text() const;  // "must be at least 0"
};

// Up to here a limit is one; beyond, it only keeps arithmetic finite and is not worth a word.
constexpr double kEndless = 1e9;
constexpr Limits kAtLeastZero{0, kEndless};
constexpr Limits kOverZero{0, kEndless, true};
constexpr Limits kMachineSeconds{0, 86400};

}  // namespace forewarm::rules
