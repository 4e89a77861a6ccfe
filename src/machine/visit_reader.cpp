#include "machine/visit_reader.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace forewarm::machine {

namespace {

using gcode::Named;

constexpr std::size_t kMaxExcerpt = 4096;

void use(Visit& visit, Visit::First how, std::size_t turn, std::uint64_t line,
         std::string_view text) {
  visit.last_used = turn;
  if (visit.first_used != kNever) {
    visit.goes_on |= how != Visit::First::pulled_cold;
    return;
  }
  visit.first = how;
  visit.first_used = turn;
  visit.used_line = line;
  visit.used_text = std::string(text.substr(0, kMaxExcerpt));
}

}  // namespace

VisitReader::VisitReader(const rules::Rules& rules, const rules::Recogniser& recogniser)
    : by_heater_(rules.dialect.temperature_index_is_heater),
      interpreter_(rules, recogniser),
      heads_(rules),
      changer_(heads_),
      heater_targets_(heads_) {}

bool VisitReader::read(const gcode::RawLine& raw) {
  using Kind = Operation::Kind;
  text_ = std::exchange(first_, false) ? without_byte_order_mark(raw.text) : raw.text;
  interpreter_.read(text_, state_, line_);
  count_lines();
  find_names();
  find_fixed(raw);
  gcode::RawLine as_read = raw;
  as_read.text = text_;
  TargetLine line;
  for (const Operation& operation : line_.operations) {
    const double fed_mm = line_.effect.delta[gcode::kE];
    if (operation.kind == Kind::set_target) add_target(operation, line);
    if (operation.kind == Kind::move && fed_mm != 0) move_filament(fed_mm > 0, as_read);
    if (operation.kind == Kind::retract) move_filament(false, as_read);
    if (operation.kind == Kind::unretract) move_filament(true, as_read);
    if (operation.kind != Kind::select) continue;
    line.selects = true;
    select(operation.tool, raw);
  }
  std::set<int>& names = line.targets.empty() ? visits_.named : visits_.targeted;
  for (const Named& n : names_) {
    if (n.kind == Named::Kind::tool) names.insert(n.number);
  }
  if (line.targets.empty()) return false;
  line.visit = visits_.list.size() - 1;
  line.from = raw.offset;
  line.to = raw.offset + raw.text.size();
  line.line = raw.number;
  line.text = std::string(text_);
  line.alone = line.targets.size() == 1 && line_.recognised.size() <= 1 &&
               line_.effect.commands <= 1 && !line.selects && !line_.effect.moves && !line_.seconds;
  line.numbered = line_.words.numbered && line_.words.has_checksum;
  line.number = line_.words.number;
  line.names = names_;
  visits_.target_lines.push_back(std::move(line));
  return true;
}

void VisitReader::count_lines() {
  constexpr double kMaxCount = 9e15;
  const gcode::Words& words = line_.words;
  if (words.numbered && words.has_checksum) count_ = words.number;
  if (count_ && words.is('M', 110) && words.given('N') && std::abs(words.value('N')) < kMaxCount) {
    count_ = std::int64_t(words.value('N'));
  }
}

void VisitReader::find_names() {
  names_ = gcode::numbers_named(text_, line_.words, by_heater_);
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

void VisitReader::find_fixed(const gcode::RawLine& line) {
  for (const rules::Recognised& r : line_.recognised) {
    if (!r.tool || r.tool_length > 0 || r.heater) continue;
    visits_.fixed.try_emplace(*r.tool, Visits::Fixed{line.number, std::string(text_)});
    visits_.named.insert(*r.tool);
  }
}

void VisitReader::select(int tool, const gcode::RawLine& line) {
  if (tool >= 0) visits_.used.insert(tool);
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
  visits_.list.push_back(std::move(v));
  if (s.to != kNone) loaded_[s.to] = tool;
}

void VisitReader::move_filament(bool forwards, const gcode::RawLine& line) {
  if (changer_.mounted() == kNone && !forwards) return;
  Visit& v = visits_.list.back();
  if (v.tool < 0) {
    // Nothing is selected: the machine takes T0, as it did from the last select on.
    v.head = changer_.feeding();
    if (v.head == kNone) return;
    v.tool = changer_.tool();
    v.by_select = false;
    visits_.used.insert(v.tool);
    loaded_[v.head] = v.tool;
  }
  ++turn_;
  const bool hot = v.begun || heater_targets_.begin_use(v.head, forwards);
  if (hot && !std::exchange(v.begun, true)) used_with_[v.head] = v.tool;
  use(v,
      forwards ? Visit::First::fed
      : hot    ? Visit::First::pulled
               : Visit::First::pulled_cold,
      turn_, line.number, line.text);
  if (!forwards) return;
  heater_targets_.feed();
  if (std::exchange(target_since_feed_, false)) visits_.feeds.push_back(turn_);
}

std::size_t VisitReader::name_at(std::size_t at) const {
  const auto it =
      std::find_if(names_.begin(), names_.end(), [at](const Named& n) { return n.at == at; });
  return it == names_.end() ? kNever : std::size_t(it - names_.begin());
}

void VisitReader::add_target(const Operation& operation, TargetLine& line) {
  GivenTarget t;
  t.by_heater = operation.heater.by == HeaterAddress::By::heater;
  t.head = changer_.head_of(operation.heater);
  if (operation.heater.by == HeaterAddress::By::tool) t.tool = operation.heater.number;
  t.temp_c = operation.temp_c;
  if (operation.by_pattern()) {
    const rules::Recognised& found = line_.recognised[operation.pattern];
    t.fixed = !found.heater && found.tool_length == 0;
    if (!t.fixed) t.name = name_at(found.heater ? found.heater_at : found.tool_at);
  } else if (operation.heater.by == HeaterAddress::By::mounted) {
    for (std::size_t v = visits_.list.size(); v-- > 0 && t.tool < 0;) t.tool = visits_.list[v].tool;
  } else {
    for (std::size_t i = 0; i < names_.size(); ++i) {
      if (names_[i].number == operation.heater.number) t.name = i;
    }
  }
  if (line.turn == 0) line.turn = ++turn_;
  target_since_feed_ = true;
  t.loaded = tool_of(loaded_, t.head);
  t.used_with = tool_of(used_with_, t.head);
  if (t.head != kNone) {
    t.waits = operation.waits;
    t.cools = t.waits && heater_targets_.cools(t.head, t.temp_c, operation.waits_for_cooling);
    heater_targets_.set(t.head, t.temp_c);
    t.uses = t.waits && !t.cools && t.head == changer_.mounted() &&
             heater_targets_.is_hot(t.head, heater_targets_[t.head].target_c);
    if (t.uses) {
      used_with_[t.head] = changer_.tool();
      heater_targets_.wait(t.head);
    }
  }
  line.targets.push_back(std::move(t));
}

Error refused_line(std::uint64_t line, std::string_view text, std::size_t at, std::string message,
                   std::string hint) {
  Error e{Error::Kind::refused, std::move(message)};
  e.line = line;
  e.column = characters(text.substr(0, at)) + 1;
  e.excerpt = std::string(text.substr(0, kMaxExcerpt));
  e.hint = std::move(hint);
  return e;
}

}  // namespace forewarm::machine
