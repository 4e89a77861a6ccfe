#include "rules/limits.h"

#include <charconv>
#include <cmath>

namespace forewarm::rules {

bool Limits::admit(double value) const {
  return (above_low ? value > low : value >= low) && value <= high;
}

std::string Limits::text() const {
  if (above_low) {
    return "must be more than " + text_of(low) +
           (high >= kEndless ? "" : " and at most " + text_of(high));
  }
  if (high >= kEndless) return "must be at least " + text_of(low);
  return "must be from " + text_of(low) + " to " + text_of(high);
}

std::string Limits::range() const {
  if (above_low) {
    return "over " + text_of(low) + (high >= kEndless ? "" : ", at most " + text_of(high));
  }
  if (high >= kEndless) return "at least " + text_of(low);
  return text_of(low) + " to " + text_of(high);
}

std::string text_of(double value) {
  char buffer[40];
  // 100000 rather than 1e+05, as people write rule files.
  const bool plain = std::abs(value) < 1e15 && (value == 0 || std::abs(value) > 1e-6);
  const auto format = plain ? std::chars_format::fixed : std::chars_format::general;
  return {buffer, std::to_chars(buffer, buffer + sizeof buffer, value, format).ptr};
}

}  // namespace forewarm::rules
