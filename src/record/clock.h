// Times as records write them, and the one time scale that comes of them.
//
// Contract: plain functions of text; no clock of this machine is read. A stamp is ISO 8601: date,
// T or a blank, time, a fraction behind a point or comma, and Z or an offset, or none. A clock is
// HH:MM:SS with a fraction or without. Seconds are a number.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace forewarm::record {

enum class TimeKind { seconds, clock, stamp };

// Beyond any clock; keeps arithmetic exact enough.
inline constexpr double kLongestS = 1e12;

// The number at the beginning of `text`, which is shortened to what follows; sign and point, no
// exponent, finite.
[[nodiscard]] std::optional<double> take_number(std::string_view& text);
// Likewise a stamp, in seconds since 1970 by its own zone; or a clock, in seconds since midnight.
[[nodiscard]] std::optional<double> take_stamp(std::string_view& text);
[[nodiscard]] std::optional<double> take_clock(std::string_view& text);

// A whole text as a time of that kind, no further from 0 than kLongestS.
[[nodiscard]] std::optional<double> time_of(std::string_view text, TimeKind kind);

// What a text log's line begins with, after blanks and [: a stamp, a clock, or seconds, which have
// a point or stand in brackets.
struct Leading {
  double time_s;
  TimeKind kind;
};
[[nodiscard]] std::optional<Leading> leading_time(std::string_view line);

class TimeScale {
 public:
  struct Now {
    double time_s = 0;
    bool new_part = false;
  };
  // REQUIRES: all times are of one kind, in the order of the record.
  [[nodiscard]] Now at(double raw_s, TimeKind kind);
  [[nodiscard]] double last_s() const { return last_s_; }

 private:
  bool begun_ = false;
  double first_s_ = 0, days_s_ = 0, last_raw_s_ = 0, last_s_ = 0;
};

}  // namespace forewarm::record
