#include "machine/interpreter.h"

#include <algorithm>

namespace forewarm::machine {

namespace {
using Kind = Operation::Kind;
using As = rules::Recognise::As;
}  // namespace

void InterpretedLine::clear() {
  words.clear();
  effect = {};
  recognised.clear();
  seconds.reset();
  operations.clear();
}

bool InterpretedLine::has(Operation::Kind kind) const {
  return std::any_of(operations.begin(), operations.end(),
                     [kind](const Operation& o) { return o.kind == kind; });
}

bool InterpretedLine::recognised_end() const {
  return std::any_of(recognised.begin(), recognised.end(),
                     [](const rules::Recognised& r) { return r.is_off(); });
}

bool InterpretedLine::pauses_by_command() const {
  if (!effect.pauses || seconds) return false;
  return std::all_of(recognised.begin(), recognised.end(), [](const rules::Recognised& r) {
    return r.as == As::layer || r.as == As::purge_begin || r.as == As::purge_end;
  });
}

bool InterpretedLine::acts() const {
  if (words.kind == gcode::LineKind::named || words.kind == gcode::LineKind::unknown) return true;
  if (words.kind == gcode::LineKind::words && words.count > 0) return true;
  return std::any_of(operations.begin(), operations.end(), [](const Operation& o) {
    return o.kind != Kind::layer && o.kind != Kind::purge_begin && o.kind != Kind::purge_end;
  });
}

Interpreter::Interpreter(const rules::Rules& rules, const rules::Recogniser& recogniser,
                         std::vector<std::uint64_t>* hits)
    : recogniser_(recogniser),
      hits_(hits),
      by_heater_(rules.dialect.temperature_index_is_heater),
      asks_lines_(!recogniser.empty()),
      asks_moves_(recogniser.wants_moves()) {}

void Interpreter::read(std::string_view text, gcode::State& state, InterpretedLine& line) const {
  gcode::parse(text, line.words);
  gcode::apply(line.words, state, line.effect);
  line.recognised.clear();
  line.seconds.reset();
  line.operations.clear();
  if (asks_lines_ && (asks_moves_ || !line.effect.moves) && !text.empty()) {
    const bool rests = recogniser_.match(text, line.recognised, line.seconds, hits_);
    if (rests) line.operations.push_back({.kind = Kind::rest});
    for (std::size_t i = 0; i < line.recognised.size(); ++i) {
      const rules::Recognised& found = line.recognised[i];
      if (found.as == As::change) state.tool = found.tool.value_or(-1);
      add_recognised(found, i, line);
    }
    if (line.seconds) {
      line.operations.push_back({.kind = Kind::rest});
      line.operations.push_back({.kind = Kind::pass, .seconds = *line.seconds});
    }
  }
  add_commands(line);
}

bool Interpreter::rests_at(std::string_view text) const {
  std::vector<rules::Recognised> found;
  std::optional<double> seconds;
  return asks_lines_ && recogniser_.match(text, found, seconds);
}

void Interpreter::add_recognised(const rules::Recognised& found, std::size_t pattern,
                                 InterpretedLine& line) const {
  Operation operation;
  operation.pattern = pattern;
  switch (found.as) {
    case As::layer:
      operation.kind = Kind::layer;
      break;
    case As::purge_begin:
      operation.kind = Kind::purge_begin;
      break;
    case As::purge_end:
      operation.kind = Kind::purge_end;
      break;
    case As::pause:
      line.operations.push_back({.kind = Kind::rest});
      operation.kind = Kind::pause;
      break;
    case As::change:
      line.operations.push_back({.kind = Kind::rest});
      operation.kind = Kind::select;
      operation.tool = found.tool.value_or(-1);
      break;
    case As::set:
    case As::wait:
      operation.kind = Kind::set_target;
      operation.heater = found.heater
                             ? HeaterAddress{HeaterAddress::By::heater, *found.heater}
                             : HeaterAddress{HeaterAddress::By::tool, found.tool.value_or(-1)};
      operation.temp_c = std::max(0.0, found.temp.value_or(0));
      operation.waits = found.as == As::wait;
      break;
  }
  line.operations.push_back(operation);
}

// The order is that of the machine, whatever that of the words.
void Interpreter::add_commands(InterpretedLine& line) const {
  const gcode::Effect& e = line.effect;
  if (e.moves) line.operations.push_back({.kind = Kind::move});
  if (e.limits) line.operations.push_back({.kind = Kind::set_limits});
  if (e.retracts || e.unretracts) {
    line.operations.push_back({.kind = e.unretracts ? Kind::unretract : Kind::retract});
  }
  if (e.waits_for_moves) line.operations.push_back({.kind = Kind::rest});
  if (e.dwell_s > 0) line.operations.push_back({.kind = Kind::pass, .seconds = e.dwell_s});
  if (e.selects) line.operations.push_back({.kind = Kind::select, .tool = e.tool});
  if (e.sets_target && (e.has_temp || e.waits_for_target)) add_target(line);
  if (line.pauses_by_command()) line.operations.push_back({.kind = Kind::pause});
}

void Interpreter::add_target(InterpretedLine& line) const {
  using By = HeaterAddress::By;
  const gcode::Effect& e = line.effect;
  Operation operation;
  operation.kind = Kind::set_target;
  if (e.target_index) operation.heater = {by_heater_ ? By::heater : By::tool, *e.target_index};
  if (e.has_temp) operation.temp_c = std::max(0.0, e.temp_c);
  operation.waits = e.waits_for_target;
  operation.waits_for_cooling = e.waits_for_cooling;
  line.operations.push_back(operation);
}

std::string_view without_byte_order_mark(std::string_view text) {
  if (text.substr(0, 3) == "\xef\xbb\xbf") text.remove_prefix(3);
  return text;
}

}  // namespace forewarm::machine
