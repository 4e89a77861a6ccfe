// Judges what one parked heater did between two uses.
//
// All times are the rewritten job's own, waits included. The gap runs from the line that puts the
// toolhead away (or the first print move) to the one that picks it up; commands go on to the first
// feeding after that. Pure: what is wrong goes to `findings`. Heating and cooling are those of
// thermal/hotend.h; lead and thresholds are the rule file's.
#pragma once

#include <optional>
#include <vector>

#include "check/finding.h"
#include "check/surroundings.h"
#include "rules/rules.h"
#include "thermal/hotend.h"

namespace forewarm::check {

// Hot idle is above standby by more than this, in C; from the contract of the figures. The plan has
// its own such constant: the check shares nothing with planning.
constexpr double kHotAboveStandbyC = 5;
// Texts give targets with two decimals: nearer than this, two targets of the rewrite are the same.
constexpr double kRoundingC = 0.011;

// A target given to a heater.
struct HeaterCommand {
  double at_s = 0;
  std::optional<double> target_c;  // a wait may name none
  bool waits = false, cooling = false;
  bool for_least = false;  // the wait is over at the target less wait_window_c
  double waited_s = 0;     // for the heater
  double takes_s = 0;      // in all
  bool inserted = false;
  double original_c = 0;  // the original's target, where it names none
  std::uint64_t line = 0;
  std::uint64_t span = 0;                  // the line of LongLines that it is part of
  const rules::Sequence* steps = nullptr;  // whose it is
};

// Lines that take long: between their ends no command can stand.
class LongLines {
 public:
  static constexpr double kLongS = 1;
  // `line`: spans of one that follow each other are one.
  void add(double from_s, double to_s, std::uint64_t line);
  void forget_before(double time_s);
  // The first moment from `time_s` on at which a line ends.
  [[nodiscard]] double line_end(double time_s) const;
  // The last moment up to `time_s` at which one begins or, where none is under way, `time_s`.
  [[nodiscard]] double line_begin(double time_s) const;

 private:
  struct Span {
    double from_s, to_s;
    std::uint64_t line;
  };
  std::vector<Span> spans_;
};

struct ObservedGap {
  thermal::HeaterState start;  // at from_s
  double from_s = 0;
  std::vector<HeaterCommand> commands = {};
  // Given after its last feeding but before it was parked: `start` has them behind it.
  std::vector<HeaterCommand> parting = {};
  // The last pause of the job in it; what is after that is judged as a gap of its own.
  struct Pause {
    double at_s = 0;
    thermal::HeaterState after;  // the coldest that it can be by its end
    std::size_t commands = 0;    // given before
  };
  std::optional<Pause> pause = {};
  std::vector<HeaterCommand> before_pause = {};  // once it is over
  std::uint64_t fed_line = 0;                    // of its last movement of filament, either way
  double highest_c = 0;                          // of all targets that it was ever given
  double used_c = 0;  // the target at its last use; at `start` if there was none
  // Once it is over:
  double to_s = 0;             // picked
  double fed_s = 0;            // first feeding
  std::uint64_t line = 0;      // of that
  bool still_mounted = false;  // a last one: never put away
  bool exchange = false;
  double exchanged_s = 0;  // when the feeder begins
  // Temperatures: that what goes out and what comes in pass the nozzle at, at least, and at which
  // what comes is printed.
  double out_c = 0, in_c = 0, work_c = 0;
  double standby_c = 0, max_hot_idle_s = 0;  // of the filament that is in it
};

// What there is to be judged behind its pause.
[[nodiscard]] ObservedGap behind_pause(const ObservedGap& gap);

struct GapRules {
  const rules::Toolhead& head;
  std::size_t index;  // of it
  const rules::GapSettings& gap;
  const LongLines& lines;
  const Surroundings& around;
  double wait_window_c = 0;
};

// Seconds in which it was hot.
[[nodiscard]] double hot_while_parked_s(const ObservedGap& gap);
void judge(const ObservedGap& gap, const GapRules& rules, Findings& findings);
// The gap after the last use, up to the end of the job at gap.to_s.
void judge_last(const ObservedGap& gap, const GapRules& rules, bool ever_fed, Findings& findings);
// An exchange of a mounted toolhead, at gap.from_s.
void judge_mounted(const ObservedGap& gap, const GapRules& rules, Findings& findings);

}  // namespace forewarm::check
