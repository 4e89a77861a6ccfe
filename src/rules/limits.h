// The bounds of a number in a rule file, and numbers as text.
//
// Apart from reader.h, so that code which only tries values need not know of TOML.
#pragma once

#include <string>

namespace forewarm::rules {

// Bounds of a finite number, both inclusive unless `above_low`. NaN and infinity are never
// admitted.
struct Limits {
  double low, high;
  bool above_low = false;  // `low` itself is not allowed

  [[nodiscard]] bool admit(double value) const;
  [[nodiscard]] std::string text() const;   // for messages: "must be at least 0"
  [[nodiscard]] std::string range() const;  // for reference: "at least 0", "0 to 1000"
};

// A bound from here on only keeps arithmetic finite; text leaves it out.
constexpr double kEndless = 1e9;
constexpr Limits kAtLeastZero{0, kEndless};
constexpr Limits kOverZero{0, kEndless, true};
constexpr Limits kMachineSeconds{0, 86400};
constexpr Limits kTemperature{0, 1000};

// The largest T number or heater number of a rule file.
constexpr int kMaxIndex = 65535;

// The shortest decimal text that reads back as `value`.
[[nodiscard]] std::string text_of(double value);

}  // namespace forewarm::rules
