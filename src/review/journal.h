// What a record says of the prints in it: when each echo came, how hot heaters were then, when the
// machine was told to select, and when it stood still.
//
// A Listener of record::read. Memory grows with echoes, selects and stops, not with the record.
// Times in two parts of a record are on no common scale: each has the number of its part.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <vector>

#include "record/record.h"
#include "review/schedule.h"

namespace forewarm::review {

struct Moment {
  double time_s = 0;
  std::size_t part = 0;
  std::vector<double> temp_c;  // of each toolhead; not finite where not known
};

struct Heard {
  record::Echo echo;
  Moment at;
  // Of a `leave`: since when the heater is as warm as the wait before it is for; none: always, as
  // far as is known.
  std::optional<double> warm_since_s;
};

struct Selected {
  record::Select select;
  std::size_t part = 0;
};

struct Standstill {
  double from_s = 0;
  std::optional<double> to_s;
  std::size_t part = 0;
};

class Journal final : public record::QuietListener {
 public:
  // The schedule outlives the journal.
  explicit Journal(const Schedule& schedule);

  void part(double from_s, std::uint64_t line) override;
  void heater(const record::Heater& heater) override;
  void sample(const record::Sample& sample) override;
  void echo(const record::Echo& echo) override;
  void stop(const record::Stop& stop) override;
  void select(const record::Select& select) override;

  // Whether both are of one and the same record: no two prints say all at the same times.
  [[nodiscard]] bool same_as(const Journal& other) const;

  std::vector<Heard> heard;
  std::vector<Selected> selected;
  std::vector<Standstill> stops;
  bool temperatures = false;

 private:
  struct Reading {
    double time_s, temp_c;
  };
  [[nodiscard]] Moment moment(double time_s) const;

  const Schedule& schedule_;
  std::map<std::uint64_t, std::size_t> change_of_;   // by number
  std::vector<std::optional<std::size_t>> head_of_;  // by the record's heaters
  std::vector<std::deque<Reading>> recent_;          // by toolhead
  std::size_t parts_ = 0;
};

}  // namespace forewarm::review
