// The temperatures of a record, for pictures: of each toolhead the lowest and the highest reading
// of each stretch of time.
//
// A Listener of record::read. Memory is bounded, whatever the record: the stretches are a second
// long, and twice as long whenever there are more than kMostStretches of a toolhead. Times in two
// parts of a record are on no common scale: each has the number of its part, as in a Journal.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "record/record.h"

namespace forewarm::review {

class Temperatures final : public record::QuietListener {
 public:
  static constexpr std::size_t kMostStretches = 8192;

  struct Reading {
    double time_s = 0, temp_c = 0;
    std::size_t part = 0;
  };

  explicit Temperatures(std::size_t heads) : heads_(heads) {}

  void part(double from_s, std::uint64_t line) override;
  void heater(const record::Heater& heater) override;
  void sample(const record::Sample& sample) override;

  // By part and time. REQUIRES: a toolhead.
  [[nodiscard]] std::vector<Reading> of(std::size_t head) const;
  // How many there were, before any were left out.
  [[nodiscard]] std::uint64_t readings(std::size_t head) const { return heads_[head].readings; }

 private:
  struct Stretch {
    Reading low, high;
  };
  struct Head {
    std::vector<Stretch> stretches;
    double length_s = 1;
    std::uint64_t readings = 0;
  };
  static void take(Head& head, const Stretch& more);

  std::vector<Head> heads_;
  std::vector<std::optional<std::size_t>> head_of_;  // by the record's heaters
  std::size_t parts_ = 0;
};

}  // namespace forewarm::review
