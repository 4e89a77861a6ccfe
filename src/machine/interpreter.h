// What a line of a job asks of the machine: operations, in the order in which the machine does
// them.
//
// Commands of G-code and what the rule file's patterns recognise come out alike. Whoever follows a
// job folds the operations into what he keeps: the scanner into a Job, check into a replay.
// Straight moves, most lines of any job, need not come here: see moves_alone().
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "gcode/linear_move.h"
#include "gcode/state.h"
#include "gcode/words.h"
#include "machine/heads.h"
#include "rules/recogniser.h"

namespace forewarm::machine {

struct Operation {
  enum class Kind : std::uint8_t {
    layer,        // begins
    purge_begin,  // what is fed from here on is purged
    purge_end,
    rest,        // motion comes to rest
    pass,        // `seconds` go by
    select,      // `tool` is picked, -1: the mounted toolhead is parked; always at rest
    set_target,  // of the heater at `heater`; it may wait, and then names no temperature perhaps
    move,        // as the effect of the line says
    set_limits,  // as the words of the line say
    retract,     // by the firmware
    unretract,
    pause,  // until somebody goes on; motion rests
  };
  Kind kind = Kind::rest;
  int tool = -1;
  HeaterAddress heater = {};
  std::optional<double> temp_c = {};  // not below 0
  bool waits = false, waits_for_cooling = false;
  double seconds = 0;
  std::size_t pattern = kNone;  // in the line's `recognised`, where a pattern asks for it
  [[nodiscard]] bool by_pattern() const { return pattern != kNone; }
};

struct InterpretedLine {
  gcode::Words words;
  gcode::Effect effect;
  std::vector<rules::Recognised> recognised;  // by the rule file's patterns
  std::optional<double> seconds;              // by its durations
  std::vector<Operation> operations;

  void clear();
  [[nodiscard]] bool has(Operation::Kind kind) const;
  // Filament is fed forwards.
  [[nodiscard]] bool feeds() const { return effect.unretracts || effect.delta[gcode::kE] > 0; }
  // It moves across the bed while it feeds.
  [[nodiscard]] bool prints() const {
    const auto& d = effect.delta;
    return effect.moves && d[gcode::kE] > 0 && (d[0] != 0 || d[1] != 0 || effect.arc);
  }
  [[nodiscard]] bool selects() const { return has(Operation::Kind::select); }
  // By a pattern it switches a heater off, or puts a toolhead away.
  [[nodiscard]] bool recognised_end() const;
  // It stops until somebody goes on: by its own command, unless the rule file says what the line is
  // or how long it takes.
  [[nodiscard]] bool pauses_by_command() const;
  // Whether a machine does anything at all on it.
  [[nodiscard]] bool acts() const;
};

class Interpreter {
 public:
  // `recogniser` outlives it, and so does `hits`, which counts what fits the lines that are read,
  // pattern by pattern (rules/recogniser.h).
  Interpreter(const rules::Rules& rules, const rules::Recogniser& recogniser,
              std::vector<std::uint64_t>* hits = nullptr);

  // Takes a line, without its ending, as the machine takes it in `state`.
  void read(std::string_view text, gcode::State& state, InterpretedLine& line) const;

  // Whether motion comes to rest at a line of that text, by rests_at of the rules.
  [[nodiscard]] bool rests_at(std::string_view text) const;

  // Whether a straight move read by gcode::digest() asks for nothing else than a move. Patterns
  // that do not want moves fit no line that begins as one.
  [[nodiscard]] bool moves_alone(const gcode::State& state) const {
    return !asks_moves_ && !state.inverse_time;
  }

 private:
  void add_recognised(const rules::Recognised& found, std::size_t pattern,
                      InterpretedLine& line) const;
  void add_commands(InterpretedLine& line) const;
  void add_target(InterpretedLine& line) const;

  const rules::Recogniser& recogniser_;
  std::vector<std::uint64_t>* hits_;
  bool by_heater_ = false;  // the T of a temperature is a heater's number
  bool asks_lines_ = false, asks_moves_ = false;
};

// The first line of a text, without its byte order mark.
[[nodiscard]] std::string_view without_byte_order_mark(std::string_view text);

}  // namespace forewarm::machine
