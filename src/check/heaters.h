// Every heater of the rewritten job on its way through time, and whether that way is good.
//
// Calls come in the order of the text, with the seconds of the rewritten job, waits included. A
// wait's length is worked out here. Toolheads met for the first time are cold. What is wrong goes
// to `findings`; gaps are judged when they close (check/gap.h).
#pragma once

#include <deque>
#include <limits>
#include <optional>
#include <unordered_map>

#include "check/finding.h"
#include "check/gap.h"
#include "check/heads.h"

namespace forewarm::check {

class Heaters {
 public:
  Heaters(const rules::Rules& rules, const Heads& heads, Findings& findings)
      : rules_(rules), heads_(heads), found_(findings), around_(rules) {}

  // Lines were inserted here; planning begins with them if the first print move comes next.
  void prelude(double at_s);
  // The first print move, by the toolhead `printing`: from here on, or from the prelude on, the
  // heaters are the plan's.
  void start(double at_s, bool with_prelude, std::size_t printing);
  // `command` without waited_s; returns the seconds that the machine stands still.
  double command(std::size_t head, HeaterCommand command);
  // `original_c`: the original's target, of the toolhead that is mounted then.
  void select(double at_s, const Selected& selected, int tool, double original_c,
              std::uint64_t line);
  // Filament is moved by the job, the first time since something happened to `head`, or the first
  // time forwards since it was picked; what is pulled where the original has the heater off is none
  // of it. `original_c`: the original's target here; `least_c`: its lowest since the last such
  // call.
  struct Movement {
    bool forwards = true;
    std::size_t head = 0;
    int tool = 0;
    double original_c = 0, least_c = 0;
    bool was_waited_for = false;  // by the original, at original_c, while it was mounted
    std::uint64_t line = 0;
  };
  void filament(double at_s, const Movement& movement);
  // ... by an inserted line.
  void feed_inserted(double at_s, std::size_t head, std::uint64_t line);
  // What inserted lines have made up for since `head` was picked, before it moves filament or, with
  // no work_c, before the visit ends in which it was only exchanged. To be judged by how long it
  // was hot while parked.
  struct MadeUp {
    std::size_t head = 0;
    const rules::Sequence* sequence = nullptr;
    double mm = 0;
    std::optional<double> work_c;
    std::uint64_t line = 0;
  };
  void made_up(double at_s, const MadeUp& made_up);
  // The last moment at which the mounted toolhead moved filament.
  void fed_until(std::size_t head, double at_s, std::uint64_t line) {
    at(head).fed_until_s = at_s;
    at(head).fed_line = line;
  }
  // The job stops for nobody knows how long: by its end, what is parked is as cold as its target
  // lets it be.
  void pause(double at_s, std::uint64_t line);
  void finish(double at_s);

  [[nodiscard]] LongLines& lines() { return lines_; }

 private:
  struct Head {
    explicit Head(const thermal::Hotend& hotend)
        : heater(hotend, hotend.ambient_c), before(heater), mark(heater) {}
    thermal::HeaterState heater;
    double now_s = 0;
    double fed_until_s = 0;
    std::uint64_t fed_line = 0;
    bool used = false;     // ever: filament moved or exchanged, or the job waited for it
    bool fed = false;      // ever
    bool printed = false;  // what is in it was fed
    bool met = false;      // heated or fed, ever
    double last_c = 0;     // the job's target at its last feeding
    double used_c = 0;     // ... when filament last moved, or it was waited for
    double highest_c = 0;  // of all that it was given
    double least_c = 0;    // the lowest target that it fed at in this visit
    int tool = -1;         // whose filament is in it; -1: not known yet
    double waited_c = std::numeric_limits<double>::quiet_NaN();  // made sure of by a wait…
    bool put_away = false;                                       // …but put away since
    std::optional<double> before_steps;  // the target when the present sequence began to set it
    thermal::HeaterState before;         // at the prelude
    std::vector<HeaterCommand> prelude;
    std::optional<ObservedGap> gap;  // parked
    // Since it last fed: what a last gap that begins while it is mounted consists of.
    thermal::HeaterState mark;
    double mark_s = 0;
    std::vector<HeaterCommand> since;
    double hot_s = 0;  // parked, in gaps since it was used that have ended
  };
  struct Visit {
    double at_s = 0;
    std::uint64_t line = 0;
    bool exchange = false, fed = false, judged = false;
    double original_c = 0;
    double out_c = 0, in_c = 0, target_c = 0;  // at the select
    std::optional<double> waited_c;            // last, since the select
    int out_tool = -1;
    std::optional<ObservedGap> mounted;  // an exchange without parking
    struct Pull {
      double at_s, original_c, waited_c;
      bool was_waited_for;
      std::uint64_t line;
    };
    std::optional<Pull> pull;               // the first, before anything is fed
    std::optional<HeaterCommand> own_wait;  // the job's last for the heater, over at `at_s`
  };

  Head& at(std::size_t head);
  void advance(Head& head, double at_s);
  void set_target(std::size_t head, const HeaterCommand& command);
  void wait(std::size_t head, HeaterCommand& command);
  void begin_exchange(std::size_t head, const Selected& selected, int tool);
  void judge_exchange(std::size_t head);
  void put_away(std::size_t head, const Selected& selected, double at_s, std::uint64_t line);
  [[nodiscard]] ObservedGap last_gap(std::size_t head, double at_s);
  void begin_use(double at_s, const Movement& movement);
  void end_visit(std::size_t head, double at_s, std::uint64_t line);
  void exchanged_only(std::size_t head, double at_s, std::uint64_t line);
  void forget_commands_after(std::size_t head, std::uint64_t line);
  void open_gap(Head& head, double at_s);
  void close(std::size_t head, double fed_s, double work_c, int tool, std::uint64_t line);
  void of_filament(ObservedGap& gap, std::size_t head, int tool) const;
  [[nodiscard]] double exchanged_c(const Head& head) const;
  [[nodiscard]] double out_c(std::size_t head, double work_c) const;
  void complete(ObservedGap& gap, std::size_t head, double work_c, int tool) const;
  [[nodiscard]] double hot_s(std::size_t head, double work_c, int tool) const;
  [[nodiscard]] double highest_standby_c(std::size_t head) const;
  void of_steps(std::size_t head, const HeaterCommand& order);
  void limit(std::size_t head, double at_s, std::uint64_t line);
  void settle_limits(double until_s);
  [[nodiscard]] double cold_c(std::size_t head) const;
  void say(Id id, std::size_t head, std::uint64_t line, const std::string& what);

  const rules::Rules& rules_;
  const Heads& heads_;
  Findings& found_;
  std::deque<Head> list_;
  LongLines lines_;
  Surroundings around_;
  struct Drive {
    std::size_t head;
    double at_s;
    std::uint64_t line;
  };
  std::deque<Drive> drives_;  // that may be too many
  bool started_ = false;
  double start_s_ = 0, prelude_s_ = 0;
  std::optional<double> paused_s_;  // the last time, since the start
  std::size_t mounted_ = kNone;
  std::unordered_map<int, double> printed_c_;  // by tool: what its filament was last fed at
  Visit visit_;
};

}  // namespace forewarm::check
