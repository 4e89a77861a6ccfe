// What both readers do with what they found: heaters are named, times put on one scale, repeated
// lines left out, all of it counted and handed to the listener. Internal to record/.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "record/clock.h"
#include "record/record.h"

namespace forewarm::record {

class Emitter {
 public:
  Emitter(const rules::Rules& rules, Listener& listener) : rules_(rules), listener_(listener) {}

  // A heater by the firmware's number; by a tool that it serves; by its toolhead's name, its number
  // as a text, or a name of its own; or the one that a record without names is of. Nothing where
  // there are too many, or where a tool is none of the machine's.
  [[nodiscard]] std::optional<std::size_t> heater_number(int number);
  [[nodiscard]] std::optional<std::size_t> heater_of_tool(int tool);
  [[nodiscard]] std::optional<std::size_t> heater_named(std::string_view name);
  [[nodiscard]] std::optional<std::size_t> only_heater();
  // Whether the machine has one heater only.
  [[nodiscard]] bool has_one_heater() const;

  // What comes next is at that time.
  void time(double raw_s, TimeKind kind, std::uint64_t line);
  // Says whether it was new.
  bool sample(std::size_t heater, double temp_c, std::optional<double> target_c,
              std::optional<double> drive, std::uint64_t line);
  bool echo(std::uint64_t number, Echo::What what, std::uint64_t line);
  bool stop(bool goes_on, std::uint64_t line);
  void select(int tool, std::uint64_t line);

  [[nodiscard]] Summary& summary() { return summary_; }

 private:
  std::optional<std::size_t> add(Heater heater);
  [[nodiscard]] std::optional<std::size_t> head_of_heater(int number) const;

  const rules::Rules& rules_;
  Listener& listener_;
  Summary summary_;
  TimeScale scale_;
  double now_s_ = 0;
  std::vector<std::optional<Sample>> last_;  // of each heater
  std::vector<std::optional<std::size_t>> of_number_;
  std::optional<Echo> last_echo_;
  std::optional<bool> last_stop_;
  std::size_t prints_ = 0;
};

// Each reads from the start of the record.
[[nodiscard]] Status read_csv(class Lines& lines, const ReadOptions& options, Emitter& into);
[[nodiscard]] Status read_text_log(class Lines& lines, const rules::Rules& rules,
                                   const ReadOptions& options, Emitter& into);
// Whether a first line is the header of a CSV of temperatures.
[[nodiscard]] bool is_csv_header(std::string_view line);

}  // namespace forewarm::record
