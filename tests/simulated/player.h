// The machine while it plays a job: what it knows from one line to the next. See machine.h.
#pragma once

#include <array>

#include "code_line.h"
#include "heater.h"
#include "machine.h"
#include "motion_queue.h"

namespace simulated {

// The job cannot go on: something was never reached, or was not there.
struct GaveUp {
  std::string why;
};

class Player {
 public:
  Player(const Description& description, std::uint64_t seed, Record& record);
  void line(std::string_view text, const std::string& sent);
  Truth finish(std::string gave_up);

 private:
  struct Head {
    const ToolheadKind* kind = nullptr;
    std::size_t heater = 0;
    int loaded = -1, last_tool = -1;
    double target_c = 0;                        // as lines were read, here and below
    double wanted_c = 0;                        // what the nozzle has to be at when fed
    double early_wait_s = 0, early_late_s = 0;  // before it was picked
    std::size_t use = 0;                        // its last one
  };

  // player.cpp: time, motion
  void beat();
  void go_on_to(double at_s);
  void run_one();
  void drain();
  void dwell(double seconds, const char* cause);
  void move(const CodeLine& code);
  void straight_to(const std::array<double, 4>& to);
  void arc_to(const CodeLine& code, const std::array<double, 4>& to, bool clockwise);
  void report();
  template <class Action>
  void in_order(bool at_once, Action action) {
    if (at_once || queue_.empty()) return action();
    queue_.last().then.emplace_back(std::move(action));
  }

  // player_commands.cpp: all else
  bool command(const CodeLine& code);  // false if it is not known
  void select(int tool);
  double maybe_stop(double odds, Chance& chance, const char* after, const char* why);
  double stop(double seconds, const char* after, const char* why);
  double exchange(Head& head, int tool, ChangeTruth& change);
  void draw_pace();
  static double drawn(const Spread& spread, Chance& chance);
  double warm_from_s(std::size_t heater);
  Head& in_use();
  void begin_use(Head& head, int tool);
  Head* head_of_tool(int tool);
  Head* head_of(const CodeLine& code);  // of an M104 or M109
  void set(Head& head, double target_c);
  void wait(Head* head, std::size_t heater, double target_c, bool also_cooling);
  void account(Head* head, WaitTruth wait);
  void limits(const CodeLine& code);

  struct Warm {
    double target_c = 0, from_s = -1;
  };

  Description d_;
  Record& record_;
  Truth truth_;
  std::vector<Heater> heaters_;  // the bed last
  std::vector<Warm> warm_;       // by heater
  std::vector<Head> heads_;
  MotionQueue queue_;
  Chance parks_, picks_, exchanges_, pick_stops_, exchange_stops_, paces_;

  double now_s_ = 0, next_report_s_ = 0;
  long long beats_ = 0;
  bool waiting_ = false, absolute_ = true, absolute_e_ = true, print_began_ = false;
  double unit_mm_ = 1, feed_mm_s_ = 20, speed_factor_ = 1;
  double print_accel_, travel_accel_, retract_accel_;
  std::array<double, 4> at_{};  // x y z e, as lines were read
  Head* mounted_ = nullptr;
  Head* coming_ = nullptr;  // selected, not there yet
  Feeds* feeding_ = nullptr;
  double feeding_wanted_c_ = 0;
  bool fed_since_exchange_ = true;
  std::size_t waits_since_print_ =
      0;  // where those begin that came after the last line that was printed
  std::size_t waits_since_feed_ = 0;  // likewise
};

}  // namespace simulated
