// What a job becomes when its filaments move to other tools.
//
// A tool's number in a line becomes the new one. A target is another matter: it is for a heater,
// and thus for all that its toolhead prints until it is given another. So each target follows the
// filament that it is for, to the toolhead where that is then:
//
// - given while its toolhead is mounted, up to the last line of that visit that moves filament or
//   waits for its heater: for what is selected, whatever number it bears;
// - else, a wait for cooling down: for what its heater was last used with;
// - else, by the number of a tool: for that tool's filament; by that of a heater: for the only
//   toolhead that all its filaments go to, or else for what is in it and what comes next, if both
//   go to one. Off is for what is in it. A target that may be for either is refused.
//
// It is left out where the next filament to be used in that toolhead had another heater: it would
// be moved at a neighbour's temperature, or have its heater switched off. What cools a toolhead
// before it is put away may stay, unless the select exchanges its filament; but not where it is no
// hotter there. And where a use would begin with another target than in the job, because neighbours
// have had the heater meanwhile, a wait for its own is put in after the select, and an off if the
// job has let go of it. So each filament moves at the target that the job moves it at, either way,
// and is waited for where the job does nothing else with it. Temperatures that the rule file does
// not recognise are not known here either.
//
// A tool that the job only gives targets has no filament. Where another takes its number, it gets
// the one that is free then.
//
// Lines are told in order; memory grows with selects and targets. Errors of kind `refused` have the
// place but for the file; of kind `usage`, where two tools become one, none.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/bytes.h"
#include "base/error.h"
#include "gcode/lines.h"
#include "gcode/renumber.h"
#include "gcode/state.h"
#include "machine/heads.h"
#include "machine/heater_targets.h"
#include "machine/interpreter.h"
#include "rules/recogniser.h"

namespace forewarm::machine {

class FilamentMove {
 public:
  // All three outlive it, but for `map`.
  FilamentMove(const rules::Rules& rules, const rules::Recogniser& recogniser, gcode::ToolMap map);

  [[nodiscard]] Status line(const gcode::RawLine& line);
  // After the last line: what is another line, or a new one, in order.
  [[nodiscard]] Result<std::vector<gcode::MovedLine>> finish();

  // After finish(): with the tools that had to make room.
  [[nodiscard]] const gcode::ToolMap& map() const { return map_; }
  // After the last line: the tools that the job selects, or feeds by without.
  [[nodiscard]] const std::set<int>& used() const { return used_; }

 private:
  static constexpr std::size_t kNever = SIZE_MAX;

  // From one select to the next.
  struct Visit {
    int tool = -1;
    std::size_t head = kNone;  // of the job as it is
    bool by_select = false;    // else what the job begins with
    std::size_t turn = 0;      // of the select
    // At what turn filament is moved, or the heater waited for.
    std::size_t first_used = kNever, last_used = kNever;
    enum class First : std::uint8_t { fed, pulled, pulled_cold, waited };
    First first = First::fed;
    bool begun = false;                      // filament has moved, and not cold
    bool goes_on = false;                    // the first is not the only one that asks for heat
    std::uint64_t end_offset = 0, line = 0;  // of the select
    std::string ending;
    std::optional<std::int64_t> count;  // of numbered lines, then
    std::uint64_t used_line = 0;        // where it is first used, and its text
    std::string used_text;
  };
  struct Target {
    std::size_t name = kNever;  // of the line's; else it has no number
    bool by_heater = false;     // the number is a heater's
    std::size_t head = kNone;   // whose heater it is in the job as it is
    int tool = -1;              // by whose number, or else the selected one; -1: none yet
    int inside = -1;            // the filament in that toolhead
    int user = -1;              // what that was last used with
    std::optional<double> temp_c;
    bool waits = false;
    bool cools = false;      // ... until it has cooled down
    bool uses = false;       // ... heated, while mounted
    std::size_t to = kNone;  // whose heater it becomes
    std::string left_out;    // why it is
  };
  // A line that gives targets.
  struct TargetLine {
    std::size_t turn = 0, visit = 0;
    std::uint64_t from = 0, to = 0, line = 0;  // of the text, a byte order mark included
    std::string text;
    bool alone = true;  // it is one target, and nothing else
    bool selects = false;
    bool numbered = false;
    std::int64_t number = 0;
    std::vector<gcode::Named> names;
    std::vector<Target> targets;
  };

  using ByHead = std::unordered_map<std::size_t, int>;  // a tool of each toolhead, if any

  [[nodiscard]] Error refused(std::uint64_t line, std::string_view text, std::size_t at,
                              std::string message, std::string hint) const;
  void names_of(std::string_view text);
  void select(int tool, const gcode::RawLine& line);
  void moves_filament(bool forwards, const gcode::RawLine& line);
  static void used(Visit& visit, Visit::First how, std::size_t turn, std::uint64_t line,
                   std::string_view text);
  void add_target(const Operation& operation, TargetLine& given);
  [[nodiscard]] std::size_t name_at(std::size_t at) const;
  [[nodiscard]] Status renumber(const gcode::RawLine& raw, std::string_view text);

  [[nodiscard]] int moved(int tool) const { return gcode::mapped(map_, tool); }
  [[nodiscard]] std::size_t moved_head(int tool) { return heads_.of_tool(moved(tool)); }
  [[nodiscard]] Status make_room();
  void find_waits();
  [[nodiscard]] Status settle_targets();
  [[nodiscard]] Status settle(const TargetLine& given, Target& target, const ByHead& next_on,
                              const ByHead& next_moved);
  void find_where_heads_go();
  [[nodiscard]] Result<std::size_t> of_heater(const TargetLine& given, const Target& target,
                                              int next);
  // Whether the visit is under way, and its use not over.
  [[nodiscard]] static bool in_use(const Visit& visit, const TargetLine& given) {
    return visit.tool >= 0 && visit.last_used != kNever && visit.last_used >= given.turn;
  }
  [[nodiscard]] std::string why_left_out(const TargetLine& given, const Target& target, int next);
  [[nodiscard]] Status write(const TargetLine& given);
  [[nodiscard]] std::string described(const TargetLine& given, const Target& target);
  [[nodiscard]] Status keep_temperatures();
  void give(Target& target, HeaterTargets& was, HeaterTargets& is);
  [[nodiscard]] bool as_before(const Visit& visit, const HeaterTargets::Heater& was,
                               const HeaterTargets::Heater& is) const;
  [[nodiscard]] Status put_in(const Visit& visit, const HeaterTargets::Heater& was,
                              const HeaterTargets::Heater& is);
  [[nodiscard]] bool understood(const std::string& command, std::size_t head, double temp_c,
                                bool waits);

  const rules::Rules& rules_;
  gcode::ToolMap map_;
  const bool by_heater_;
  const Interpreter interpreter_;
  Heads heads_;
  ToolChanger changer_;
  std::set<int> used_, named_;  // named: by lines that give no targets
  std::set<int> given_;         // by those that do

  gcode::State state_;
  InterpretedLine line_;
  std::vector<gcode::Named> names_;
  std::optional<std::int64_t> count_;
  ByHead inside_, user_;
  HeaterTargets heater_targets_;
  std::size_t turn_ = 0;
  bool told_ = false;  // a target was given since filament was last fed forwards
  bool first_ = true;
  // Of each toolhead, those that its filaments go to.
  std::unordered_map<std::size_t, std::set<std::size_t>> goes_to_;

  std::vector<Visit> visits_{1};
  std::vector<TargetLine> givens_;
  std::vector<std::size_t> fed_;  // turns: forwards, for the first time since a target was given
  std::vector<gcode::MovedLine> out_;
};

// A whole job. `name` is what its errors call it.
[[nodiscard]] Result<std::vector<gcode::MovedLine>> moved_lines(ByteSource& text,
                                                                const std::string& name,
                                                                FilamentMove& move);

}  // namespace forewarm::machine
