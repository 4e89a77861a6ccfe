#include "machine/move_filaments.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

namespace forewarm::machine {

namespace {

using gcode::Named;
using As = rules::Recognise::As;

int tool_of(const std::unordered_map<std::size_t, int>& by_head, std::size_t head) {
  const auto it = by_head.find(head);
  return it == by_head.end() ? -1 : it->second;
}

}  // namespace

FilamentMove::FilamentMove(const rules::Rules& rules, const rules::Recogniser& recogniser,
                           gcode::ToolMap map)
    : rules_(rules),
      recogniser_(recogniser),
      map_(std::move(map)),
      heaters_(rules.dialect.temperature_index_is_heater),
      ask_moves_(recogniser.wants_moves()),
      heads_(rules),
      mount_(heads_),
      asked_(heads_) {
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
  if (first_ && line.text.substr(0, 3) == "\xef\xbb\xbf") line.text.remove_prefix(3);
  first_ = false;
  gcode::parse(line.text, words_);
  gcode::apply(words_, state_, effect_);
  found_.clear();
  std::optional<double> seconds;
  if (!recogniser_.empty() && (ask_moves_ || !effect_.moves) && !line.text.empty()) {
    recogniser_.match(line.text, found_, seconds);
  }
  if (words_.numbered && words_.has_checksum) count_ = words_.number;
  if (count_ && words_.is('M', 110) && words_.given('N') && std::abs(words_.value('N')) < 9e15) {
    count_ = std::int64_t(words_.value('N'));
  }
  names_of(line.text);

  const bool moves =
      (effect_.moves && effect_.delta[gcode::kE] != 0) || effect_.retracts || effect_.unretracts;
  const bool forwards = effect_.unretracts || effect_.delta[gcode::kE] > 0;
  TargetLine given;
  // In the order in which a machine does it, as job/ and check/ have it.
  for (const rules::Recognised& r : found_) {
    if (r.as == As::set || r.as == As::wait) recognised_target(r, given);
    if (r.as != As::change) continue;
    given.selects = true;
    select(r.tool.value_or(-1), raw);
  }
  if (moves) moves_filament(forwards, line);
  if (effect_.selects) {
    given.selects = true;
    select(effect_.tool, raw);
  }
  own_target(given);
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
  given.alone = given.targets.size() == 1 && found_.size() <= 1 && effect_.commands <= 1 &&
                !given.selects && !effect_.moves && !seconds;
  given.numbered = words_.numbered && words_.has_checksum;
  given.number = words_.number;
  given.names = names_;
  givens_.push_back(std::move(given));
  return success();
}

void FilamentMove::names_of(std::string_view text) {
  names_ = gcode::numbers_named(text, words_, heaters_);
  for (const rules::Recognised& r : found_) {
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
  const Selected s = mount_.select(tool);
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
  if (mount_.mounted() == kNone && !forwards) return;
  Visit& v = visits_.back();
  if (v.tool < 0) {
    // Nothing is selected: the machine takes T0, as it did from the last select on.
    v.head = mount_.feeding();
    if (v.head == kNone) return;
    v.tool = mount_.tool();
    v.by_select = false;
    used_.insert(v.tool);
    inside_[v.head] = v.tool;
  }
  ++turn_;
  const bool hot = v.begun || asked_.begins(v.head, forwards);
  if (hot && !std::exchange(v.begun, true)) user_[v.head] = v.tool;
  used(v,
       forwards ? Visit::First::fed
       : hot    ? Visit::First::pulled
                : Visit::First::pulled_cold,
       turn_, line.number, line.text);
  if (!forwards) return;
  asked_.fed();
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

void FilamentMove::recognised_target(const rules::Recognised& r, TargetLine& given) {
  Target t;
  t.by_heater = r.heater.has_value();
  t.name = name_at(r.heater ? r.heater_at : r.tool_at);
  t.head = r.heater ? heads_.of_heater(*r.heater) : heads_.of_tool(r.tool.value_or(-1));
  t.tool = r.heater ? -1 : r.tool.value_or(-1);
  t.temp_c = r.temp;
  add(std::move(t), r.as == As::wait, false, given);
}

void FilamentMove::own_target(TargetLine& given) {
  if (!effect_.sets_target || !(effect_.has_temp || effect_.waits_for_target)) return;
  Target t;
  if (effect_.has_temp) t.temp_c = std::max(0.0, effect_.temp_c);
  if (const auto index = effect_.target_index) {
    for (std::size_t i = 0; i < names_.size(); ++i) {
      if (names_[i].number == *index) t.name = i;
    }
    t.by_heater = heaters_;
    t.head = heaters_ ? heads_.of_heater(*index) : heads_.of_tool(*index);
    if (!heaters_) t.tool = *index;
  } else {
    t.head = mount_.spoken_to();
    for (std::size_t v = visits_.size(); v-- > 0 && t.tool < 0;) t.tool = visits_[v].tool;
  }
  add(std::move(t), effect_.waits_for_target, effect_.waits_for_cooling, given);
}

void FilamentMove::add(Target t, bool waits, bool waits_for_cooling, TargetLine& given) {
  if (given.turn == 0) given.turn = ++turn_;
  told_ = true;
  t.inside = tool_of(inside_, t.head);
  t.user = tool_of(user_, t.head);
  if (t.head != kNone) {
    t.waits = waits;
    t.cools = waits && asked_.cools(t.head, t.temp_c, waits_for_cooling);
    asked_.give(t.head, t.temp_c);
    t.uses = waits && !t.cools && t.head == mount_.mounted() &&
             asked_.is_hot(t.head, asked_[t.head].target_c);
    if (t.uses) {
      user_[t.head] = mount_.tool();
      asked_.waits(t.head);
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
  auto line = gcode::with_numbers(text, words_, names_, to);
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
