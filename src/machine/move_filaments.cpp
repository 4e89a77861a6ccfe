#include "machine/move_filaments.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

namespace forewarm::machine {

namespace {

using gcode::Named;

int tool_of(const std::unordered_map<std::size_t, int>& by_head, std::size_t head) {
  const auto it = by_head.find(head);
  return it == by_head.end() ? -1 : it->second;
}

}  // namespace

FilamentMove::FilamentMove(const rules::Rules& rules, const rules::Recogniser& recogniser,
                           gcode::ToolMap map)
    : rules_(rules),
      map_(std::move(map)),
      by_heater_(rules.dialect.temperature_index_is_heater),
      interpreter_(rules, recogniser),
      heads_(rules),
      changer_(heads_),
      heater_targets_(heads_) {
  std::erase_if(map_, [](const auto& pair) { return pair.first == pair.second; });
}

Error FilamentMove::refused(std::uint64_t line, std::string_view text, std::size_t at,
                            std::string message, std::string hint) const {
  Error e{Error::Kind::refused, std::move(message)};
  e.line = line;
  e.column = characters(text.substr(0, at)) + 1;
  e.excerpt = std::string(text.substr(0, 4096));
  e.hint = std::move(hint);
  return e;
}

// --- the lines as they come ---

Status FilamentMove::line(const gcode::RawLine& raw) {
  gcode::RawLine line = raw;
  if (std::exchange(first_, false)) line.text = without_byte_order_mark(line.text);
  interpreter_.read(line.text, state_, line_);
  const gcode::Words& words = line_.words;
  if (words.numbered && words.has_checksum) count_ = words.number;
  if (count_ && words.is('M', 110) && words.given('N') && std::abs(words.value('N')) < 9e15) {
    count_ = std::int64_t(words.value('N'));
  }
  names_of(line.text);

  TargetLine given;
  for (const Operation& operation : line_.operations) {
    using Kind = Operation::Kind;
    const double fed_mm = line_.effect.delta[gcode::kE];
    if (operation.kind == Kind::set_target) add_target(operation, given);
    if (operation.kind == Kind::move && fed_mm != 0) moves_filament(fed_mm > 0, line);
    if (operation.kind == Kind::retract) moves_filament(false, line);
    if (operation.kind == Kind::unretract) moves_filament(true, line);
    if (operation.kind != Kind::select) continue;
    given.selects = true;
    select(operation.tool, raw);
  }
  if (given.targets.empty()) {
    for (const Named& n : names_) {
      if (n.kind == Named::Kind::tool) named_.insert(n.number);
    }
    return renumber(raw, line.text);
  }
  for (const Named& n : names_) {
    if (n.kind == Named::Kind::tool) given_.insert(n.number);
  }
  given.visit = visits_.size() - 1;
  given.from = raw.offset;
  given.to = raw.offset + raw.text.size();
  given.line = raw.number;
  given.text = std::string(line.text);
  given.alone = given.targets.size() == 1 && line_.recognised.size() <= 1 &&
                line_.effect.commands <= 1 && !given.selects && !line_.effect.moves &&
                !line_.seconds;
  given.numbered = words.numbered && words.has_checksum;
  given.number = words.number;
  given.names = names_;
  givens_.push_back(std::move(given));
  return success();
}

void FilamentMove::names_of(std::string_view text) {
  names_ = gcode::numbers_named(text, line_.words, by_heater_);
  for (const rules::Recognised& r : line_.recognised) {
    using Kind = Named::Kind;
    if (r.tool && r.tool_length > 0) {
      names_.push_back({r.tool_at, r.tool_length, *r.tool, Kind::tool});
    }
    if (r.heater && r.heater_length > 0) {
      names_.push_back({r.heater_at, r.heater_length, *r.heater, Kind::heater});
    }
  }
  std::stable_sort(names_.begin(), names_.end(),
                   [](const Named& a, const Named& b) { return a.at < b.at; });
  names_.erase(std::unique(names_.begin(), names_.end()), names_.end());
}

void FilamentMove::select(int tool, const gcode::RawLine& line) {
  if (tool >= 0) used_.insert(tool);
  const Selected s = changer_.select(tool);
  if (!s.served || s.redundant) return;
  Visit v;
  v.tool = tool;
  v.head = s.to;
  v.by_select = true;
  v.turn = turn_;
  v.end_offset = line.end_offset();
  v.line = line.number;
  v.ending = std::string(line.ending);
  v.count = count_;
  visits_.push_back(std::move(v));
  if (s.to != kNone) inside_[s.to] = tool;
}

void FilamentMove::moves_filament(bool forwards, const gcode::RawLine& line) {
  if (changer_.mounted() == kNone && !forwards) return;
  Visit& v = visits_.back();
  if (v.tool < 0) {
    // Nothing is selected: the machine takes T0, as it did from the last select on.
    v.head = changer_.feeding();
    if (v.head == kNone) return;
    v.tool = changer_.tool();
    v.by_select = false;
    used_.insert(v.tool);
    inside_[v.head] = v.tool;
  }
  ++turn_;
  const bool hot = v.begun || heater_targets_.begin_use(v.head, forwards);
  if (hot && !std::exchange(v.begun, true)) user_[v.head] = v.tool;
  used(v,
       forwards ? Visit::First::fed
       : hot    ? Visit::First::pulled
                : Visit::First::pulled_cold,
       turn_, line.number, line.text);
  if (!forwards) return;
  heater_targets_.feed();
  if (std::exchange(told_, false)) fed_.push_back(turn_);
}

void FilamentMove::used(Visit& visit, Visit::First how, std::size_t turn, std::uint64_t line,
                        std::string_view text) {
  visit.last_used = turn;
  if (visit.first_used != kNever) {
    visit.goes_on |= how != Visit::First::pulled_cold;
    return;
  }
  visit.first = how;
  visit.first_used = turn;
  visit.used_line = line;
  visit.used_text = std::string(text.substr(0, 4096));
}

std::size_t FilamentMove::name_at(std::size_t at) const {
  const auto it =
      std::find_if(names_.begin(), names_.end(), [at](const Named& n) { return n.at == at; });
  return it == names_.end() ? kNever : std::size_t(it - names_.begin());
}

void FilamentMove::add_target(const Operation& operation, TargetLine& given) {
  Target t;
  t.by_heater = operation.heater.by == HeaterAddress::By::heater;
  t.head = changer_.head_of(operation.heater);
  if (operation.heater.by == HeaterAddress::By::tool) t.tool = operation.heater.number;
  t.temp_c = operation.temp_c;
  if (operation.by_pattern()) {
    const rules::Recognised& found = line_.recognised[operation.pattern];
    t.name = name_at(found.heater ? found.heater_at : found.tool_at);
  } else if (operation.heater.by == HeaterAddress::By::mounted) {
    for (std::size_t v = visits_.size(); v-- > 0 && t.tool < 0;) t.tool = visits_[v].tool;
  } else {
    for (std::size_t i = 0; i < names_.size(); ++i) {
      if (names_[i].number == operation.heater.number) t.name = i;
    }
  }
  if (given.turn == 0) given.turn = ++turn_;
  told_ = true;
  t.inside = tool_of(inside_, t.head);
  t.user = tool_of(user_, t.head);
  if (t.head != kNone) {
    t.waits = operation.waits;
    t.cools = t.waits && heater_targets_.cools(t.head, t.temp_c, operation.waits_for_cooling);
    heater_targets_.set(t.head, t.temp_c);
    t.uses = t.waits && !t.cools && t.head == changer_.mounted() &&
             heater_targets_.is_hot(t.head, heater_targets_[t.head].target_c);
    if (t.uses) {
      user_[t.head] = changer_.tool();
      heater_targets_.wait(t.head);
    }
  }
  given.targets.push_back(std::move(t));
}

Status FilamentMove::renumber(const gcode::RawLine& raw, std::string_view text) {
  std::string how;
  std::vector<int> to;
  for (const Named& n : names_) {
    to.push_back(n.kind == Named::Kind::tool ? moved(n.number) : n.number);
    if (to.back() == n.number) continue;
    const std::string one = fmt::format("T{} to T{}", n.number, to.back());
    if (how.find(one) == std::string::npos) how += (how.empty() ? "" : ", ") + one;
  }
  if (how.empty()) return success();
  auto line = gcode::with_numbers(text, line_.words, names_, to);
  if (!line) return refused(raw.number, text, 0, line.error().message, line.error().hint);
  out_.push_back(
      {{raw.offset, raw.offset + raw.text.size(), std::move(*line)}, std::move(how), raw.number});
  return success();
}

Result<std::vector<gcode::MovedLine>> moved_lines(ByteSource& text, const std::string& name,
                                                  FilamentMove& move) {
  const auto placed = [&name](Error e) {
    if (e.line > 0) e.file = name;
    return e;
  };
  gcode::LineReader reader(text);
  gcode::RawLine line;
  for (;;) {
    auto more = reader.next(line);
    if (!more) return std::move(more.error());
    if (!*more) break;
    if (auto s = move.line(line); !s) return placed(std::move(s.error()));
  }
  auto lines = move.finish();
  if (!lines) return placed(std::move(lines.error()));
  return lines;
}

}  // namespace forewarm::machine
