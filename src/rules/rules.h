// The rule file as typed values: what the user's machine is, and how its gaps are decided.
//
// Contract: values as loaded are in range and consistent (see load.h). A field that the file leaves
// out has the default shown here; keys.h describes the key of each. Units are in the names: _s
// seconds, _c degrees Celsius, _mm, _mm_s, _mm_s2, _w watts. Plain values, copied freely.
#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <map>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "thermal/hotend.h"

namespace forewarm::rules {

struct Range {
  double low = -1e6, high = 1e6;
};

struct Machine {
  std::string name = "machine";
  double ambient_c = 23;
  std::array<Range, 3> travel_mm{};  // x y z; inserted moves stay inside
  // x y; filament extruded from within it to within it is purged.
  std::optional<std::array<Range, 2>> purge_area_mm;
  std::optional<double> heating_limit_w;  // of all heaters at full drive together
  double bed_w = 0;                       // the part of it that the bed takes at any moment
};

using Axes = std::array<double, 4>;  // x y z e

struct Motion {
  Axes max_speed_mm_s{300, 300, 12, 60};
  Axes max_accel_mm_s2{3000, 3000, 200, 5000};
  double accel_mm_s2 = 1500;  // print, travel and retract, until the job's M204
  Axes jerk_mm_s{8, 8, 0.4, 5};
  std::optional<double> junction_deviation_mm;  // instead of jerk
  std::optional<double> right_angle_mm_s;       // of a corner of 90 degrees, instead of both
  // RE2 patterns of lines at which motion comes to rest, besides the commands that are known to.
  std::vector<std::string> rests_at;
  double time_scale = 1.0;  // measured / modelled print time
};

struct Toolhead {
  std::string name;
  std::vector<int> tools;  // T numbers; more than one: a feeder exchanges its filament
  int heater_index = 0;
  thermal::Hotend hotend;  // ambient_c is filled in from the machine
  double max_c = 300;
  double park_s = 7;  // common practice, no source: putting a toolhead away takes 7 to 8 s
  double pick_s = 7;
  double exchange_s = 35;  // common practice, no source: taking filament out takes about 35 s;
                           // see exchange_seconds()
  // Filament that an exchange purges, where no matrix has it; 0 where it is not known.
  double exchange_purge_mm3 = 0;
  // Chance that picking it stops the machine. Left out, it counts as 0 if the file has any other:
  // see gives_odds().
  std::optional<double> fault_odds;
  // Steps feed forwards no faster. As loaded, no sequence that the toolhead can get exceeds it.
  std::optional<double> max_flow_mm3_s;
  // Step sequences; empty: none. As loaded, the feeds of the first two add up to 0.
  std::string before_park, after_pick;
  std::string at_last_use;  // of filaments that have none of their own
};

struct Feeder {
  std::optional<double> fault_odds;  // chance that an exchange stops the machine
};

// When somebody is at the machine, and how long a stop takes.
struct AttentionSettings {
  std::vector<std::string> away;  // hours of every day in which nobody is; see day_hours.h
  double notice_s = 600;          // until somebody who is there comes. Common practice, no source
  double clear_s = 300;           // to clear a fault. Common practice, no source
};

// Some of the machine's tools: each by its number, or all of a toolhead at once.
struct Places {
  std::vector<int> tools;
  std::vector<std::size_t> heads;  // indexes into Rules::toolheads
  [[nodiscard]] bool empty() const { return tools.empty() && heads.empty(); }
  [[nodiscard]] bool name(int tool, std::size_t head) const;
};

struct Filament {
  int tool = 0;
  std::string name;        // default "T<n>"
  std::string material;    // may be empty
  double standby_c = 175;  // common practice, no source, for PLA-like filament
  double density_g_cm3 = 1.24;
  double diameter_mm = 1.75;
  double max_hot_idle_s = 900;
  // The lowest temperature of the nozzle while this filament goes through it in an exchange.
  std::optional<double> exchange_c;
  std::string before_exchange, after_exchange;
  std::string at_last_use;  // empty: its toolhead's
  // Of the exchanges that bring this filament in.
  std::optional<double> exchange_s;  // in place of the toolhead's
  std::optional<double> fault_odds;  // besides the feeder's
  // Where `assign` may put it: only there, never there, or nowhere else than it is.
  std::optional<Places> only;
  Places never;
  bool fixed = false;
  std::optional<double> spool_g;  // what is on its spool; none: not known
  double spool_margin = 0.05;     // common practice, no source: a share of that is not counted on
  std::uint64_t line = 0;         // of its [[filament]] in the file; 0: it has none
  [[nodiscard]] double area_mm2() const { return std::numbers::pi / 4 * diameter_mm * diameter_mm; }
};

// The sequence for putting the toolhead away for the last time, hot, with `filament` in it.
[[nodiscard]] const std::string& at_last_use(const Toolhead& head, const Filament& filament);

// How long an exchange takes that brings `incoming` in, and the chance that it stops the machine:
// either the feeder fails or the filament does. A chance that is not given counts as 0.
[[nodiscard]] double exchange_seconds(const Toolhead& head, const Filament& incoming);
[[nodiscard]] double exchange_odds(const Feeder& feeder, const Filament& incoming);

// The temperature that an exchange needs: the highest of what the outgoing filament needs (its
// exchange_c, or else the temperature it was printed at), the incoming one's working temperature,
// and the incoming one's exchange_c.
[[nodiscard]] double exchange_temperature_c(const Filament& outgoing, double printed_c,
                                            const Filament& incoming, double work_c);

enum class Policy { as_sliced, timers, hold, lookahead };
[[nodiscard]] const char* name_of(Policy policy);  // as in the rule file: "as-sliced" ...

struct GapSettings {
  Policy policy = Policy::lookahead;
  double hold_drop_c = 8;
  double off_over_s = 1500;
  bool off_over_best = false;  // off where the costs break even, in place of off_over_s
  // What a plan costs besides waiting, in any one currency. Common practice, no source.
  double hot_idle_cost_per_h = 0.05;
  double energy_cost_per_kwh = 0.30;
  double restart_cost = 0.002;
  double timer_standby_s = 0;
  double timer_off_s = 900;
  // What a parked heater does over a pause of the job, whose length nobody knows.
  enum class AtPause { standby, off, as_planned };
  AtPause at_pause = AtPause::standby;
  // How punctual preheats are: the share of uses that may not be late, and the standard deviations
  // that the lead allows for. Common practice, no source.
  double on_time = 0.99;
  double time_error = 0.03;      // of modelled time, as a share of it
  double heater_error = 0.05;    // of what full drive adds to ambient, as a share of it
  double exchange_spread_s = 3;  // of an exchange
  double park_spread_s = 0.5;    // of parking, and of picking
  // With either of these, the two alone make the lead: heat-up time is stretched by the one, and
  // extended by the other.
  std::optional<double> lead_stretch, lead_extra_s;
  static constexpr double kLeadStretch = 0.10, kLeadExtraS = 4;  // defaults, where the other is set
  bool operator==(const GapSettings&) const = default;
  [[nodiscard]] bool plain_lead() const { return lead_stretch || lead_extra_s; }
};

struct Step {
  enum class Action { feed, lift, back, dwell, move, temp, temp_offset, wait, fan, gcode, make_up };
  Action action = Action::dwell;
  // feed_mm, lift_mm, dwell_s, temp_c, temp_offset_c, fan 0..1, make_up_mm_per_min
  double amount = 0;
  std::optional<double> speed_mm_s;
  std::array<std::optional<double>, 3> move_mm{};  // x y z
  std::string gcode;
  double seconds = 0;     // of a gcode step
  double at_most_mm = 3;  // that a make-up feeds; common practice, no source
};

struct Sequence {
  std::string name;
  std::vector<Step> steps;

  // Whether it feeds for what oozed while the toolhead was parked. As loaded, such a sequence is
  // only named as after_pick or after_exchange.
  [[nodiscard]] bool makes_up() const;
};

struct Dialect {
  std::string set = "M104 T{tool} S{temp}";
  std::string wait = "M109 T{tool} S{temp}";
  bool temperature_index_is_heater = false;  // what T means on the job's own M104/M109
  double wait_takes_s = 0;                   // of any wait, however warm; not of one for {least}
  double wait_window_c = 0;  // {least} is the target less this; over 0 where `wait` has {least}
  std::vector<std::string> job_start, job_end;
  // With which the machine says where it is, so that its record has it; empty: it does not. {text}
  // is what it says.
  std::vector<std::string> echo;

  // Whether `wait` is over as soon as the heater is at {least}.
  [[nodiscard]] bool waits_for_least() const { return wait_window_c > 0; }
};

// One line of [dialect] echo, saying `forewarm <number> <what>`.
[[nodiscard]] std::string echo_line(std::string_view pattern, std::uint64_t number,
                                    std::string_view what);

// The command that a pattern of [dialect], set or wait, makes.
[[nodiscard]] std::string filled_in(std::string_view pattern, int tool, int heater, double temp_c,
                                    double window_c = 0);

struct Recognise {
  enum class As { change, set, wait, purge_begin, purge_end, layer, pause };
  std::string match;  // RE2, checked to compile and to have its groups
  As as = As::change;
  std::optional<int> tool = {};  // whose it is where the line has no number of a tool
};

struct Duration {
  std::string match;  // RE2
  double seconds = 0;
};

// How a machine's record is read.
struct RecordSettings {
  std::vector<std::string> time;  // RE2, in order; empty: by the built-in ways
  double full_duty = 127;         // from memory: what firmware commonly reports at full drive
  double stop_s = 60;             // common practice, no source
};

struct Observe {
  enum class As { temperature, echo, select, stop, go_on };
  std::string match;  // RE2, checked to compile and to have its groups
  As as = As::temperature;
};

struct Rules {
  Machine machine;
  Motion motion;
  // With tools = "seen" in the file, the one toolhead here is a pattern: the job gets a copy of it
  // for each of its T numbers, with the heater of that number, and the number after its name.
  bool toolhead_per_tool_seen = false;
  std::vector<Toolhead> toolheads;
  Feeder feeder;
  AttentionSettings attention;
  std::vector<Filament> filaments;  // materials already merged in
  std::vector<Filament> materials;  // by .material, for look-up; .tool unused
  GapSettings gap;
  std::vector<Sequence> steps;
  Dialect dialect;
  std::vector<Recognise> recognise;
  std::vector<Duration> durations;
  RecordSettings record;
  std::vector<Observe> observe;
  std::string file;       // the rule file in messages: its path, as given
  bool built_in = false;  // no file: the built-in guesses
  // XXH3 of the file's bytes, and of the settings in place of its values, if any: see paths.h.
  std::uint64_t hash = 0;
  std::vector<std::string> settings;  // those, "gap.off_over_s = 900", in the order given
  bool uses_steps = false;            // some toolhead, filament or material names a sequence

  // The filament of a tool; one of defaults, named "T<n>", where the file has none.
  [[nodiscard]] Filament filament(int tool) const;
  // The sequence of that name; null where the name is empty or there is none.
  [[nodiscard]] const Sequence* sequence(std::string_view name) const;
  // These rules with filaments moved from tool to tool; toolheads stay. A filament that is not
  // moved, but whose tool another one takes, is dropped.
  [[nodiscard]] Rules with_filaments_moved(const std::map<int, int>& map) const;
  // Whether the file has any fault_odds, be it 0; without, the odds of a stop are not known.
  [[nodiscard]] bool gives_odds() const;
  [[nodiscard]] bool gives_filament_odds() const;  // some filament's
  // Index into toolheads, or nothing. Not for a pattern (toolhead_per_tool_seen).
  [[nodiscard]] std::optional<std::size_t> toolhead_of(int tool) const;
};

}  // namespace forewarm::rules
