#include "machine/move_filaments.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace forewarm::machine {

namespace {

using gcode::Named;
using As = rules::Recognise::As;

constexpr double kSameC = 0.01;

constexpr const char* kOwnLine = "put the commands on lines of their own";

int tool_of(const std::unordered_map<std::size_t, int>& by_head, std::size_t head) {
  const auto it = by_head.find(head);
  return it == by_head.end() ? -1 : it->second;
}

std::string quoted(const rules::Toolhead& head) { return '"' + printable(head.name, 80) + '"'; }

}  // namespace

FilamentMove::FilamentMove(const rules::Rules& rules, const rules::Recogniser& recogniser,
                           gcode::ToolMap map)
    : rules_(rules),
      recogniser_(recogniser),
      map_(std::move(map)),
      heaters_(rules.dialect.temperature_index_is_heater),
      ask_moves_(recogniser.wants_moves()),
      heads_(rules),
      mount_(heads_) {
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
  Given given;
  // In the order in which a machine does it, as job/ and check/ have it.
  for (const rules::Recognised& r : found_) {
    if (r.as == As::set || r.as == As::wait) given.turn = ++turn_;
    if (r.as != As::change) continue;
    given.selects = true;
    select(r.tool.value_or(-1), raw);
  }
  if (moves) moves_filament(forwards, line);
  if (effect_.selects) {
    given.selects = true;
    select(effect_.tool, raw);
  }
  targets_of(given);
  if (given.targets.empty()) {
    for (const Named& n : names_) {
      if (n.what == Named::What::tool) named_.insert(n.number);
    }
    return renumber(raw, line.text);
  }
  for (const Named& n : names_) {
    if (n.what == Named::What::tool) given_.insert(n.number);
  }
  if (given.turn == 0) given.turn = ++turn_;
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
    using What = Named::What;
    if (r.tool && r.tool_length > 0) {
      names_.push_back({r.tool_at, r.tool_length, *r.tool, What::tool});
    }
    if (r.heater && r.heater_length > 0) {
      names_.push_back({r.heater_at, r.heater_length, *r.heater, What::heater});
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
  v.last_moved = ++turn_;
  if (v.first_moved != kNever) return;
  v.first_moved = turn_;
  v.moved_line = line.number;
  v.moved_text = std::string(line.text.substr(0, 4096));
}

void FilamentMove::targets_of(Given& given) {
  const auto add = [&](Target t) {
    t.inside = tool_of(inside_, t.head);
    given.targets.push_back(std::move(t));
  };
  const auto name_at = [this](std::size_t at) {
    const auto it =
        std::find_if(names_.begin(), names_.end(), [at](const Named& n) { return n.at == at; });
    return it == names_.end() ? kNever : std::size_t(it - names_.begin());
  };
  for (const rules::Recognised& r : found_) {
    if (r.as != As::set && r.as != As::wait) continue;
    Target t;
    t.by_heater = r.heater.has_value();
    t.name = name_at(r.heater ? r.heater_at : r.tool_at);
    t.head = r.heater ? heads_.of_heater(*r.heater) : heads_.of_tool(r.tool.value_or(-1));
    t.tool = r.heater ? -1 : r.tool.value_or(-1);
    t.temp_c = r.temp;
    add(std::move(t));
  }
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
  add(std::move(t));
}

Status FilamentMove::renumber(const gcode::RawLine& raw, std::string_view text) {
  std::string how;
  std::vector<int> to;
  for (const Named& n : names_) {
    to.push_back(n.what == Named::What::tool ? moved(n.number) : n.number);
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

// --- what becomes of it, once all is known ---

Result<std::vector<gcode::MovedLine>> FilamentMove::finish() {
  for (const Visit& v : visits_) {
    if (v.tool >= 0 && !v.by_select && moved(v.tool) != v.tool) {
      return refused(v.moved_line, v.moved_text, 0,
                     fmt::format("T{} moves filament here without being selected, and is to be T{}",
                                 v.tool, moved(v.tool)),
                     "there is no line to change: the job has to select it");
    }
  }
  if (auto s = make_room(); !s) return std::move(s.error());
  find_where_heads_go();
  if (auto s = settle_targets(); !s) return std::move(s.error());
  for (const Given& given : givens_) {
    if (auto s = write(given); !s) return std::move(s.error());
  }
  if (auto s = keep_temperatures(); !s) return std::move(s.error());
  std::stable_sort(out_.begin(), out_.end(), [](const auto& a, const auto& b) {
    return std::pair(a.splice.from, !a.inserted) < std::pair(b.splice.from, !b.inserted);
  });
  return std::move(out_);
}

Status FilamentMove::make_room() {
  std::set<int> all = used_;
  all.insert(named_.begin(), named_.end());
  for (const auto& [from, to] : map_) all.insert(from);
  std::map<int, int> from;  // by where it is then
  for (const int tool : all) {
    if (from.emplace(moved(tool), tool).second) continue;
    Error e{Error::Kind::usage,
            fmt::format("more than one tool of the job would be T{}", moved(tool))};
    e.hint = "say where that one goes, too";
    return e;
  }
  for (const int tool : given_) {
    if (all.contains(tool)) continue;
    int place = tool;
    for (auto it = from.find(place); it != from.end(); it = from.find(place)) place = it->second;
    if (place != tool) map_.emplace(tool, place);
  }
  return success();
}

void FilamentMove::find_where_heads_go() {
  for (const int tool : used_) {
    const std::size_t head = heads_.of_tool(tool);
    if (head != kNone) goes_to_[head].insert(moved_head(tool));
  }
}

Status FilamentMove::settle_targets() {
  ByHead next_on;     // the tool that a toolhead is next selected with, as the job is
  ByHead next_moved;  // the tool whose filament is next moved, by where it will be
  std::size_t g = givens_.size();
  for (std::size_t v = visits_.size(); v-- > 0;) {
    const Visit& visit = visits_[v];
    for (; g > 0 && givens_[g - 1].visit == v; --g) {
      for (Target& target : givens_[g - 1].targets) {
        if (auto s = settle(givens_[g - 1], target, next_on, next_moved); !s) return s;
      }
    }
    if (visit.tool < 0) continue;
    next_on[visit.head] = visit.tool;
    if (visit.first_moved != kNever) next_moved[moved_head(visit.tool)] = visit.tool;
  }
  return success();
}

Status FilamentMove::settle(const Given& given, Target& target, const ByHead& next_on,
                            const ByHead& next_moved) {
  if (target.head == kNone) return success();  // off, for what no toolhead has
  const Visit& visit = visits_[given.visit];
  const bool in_use = moves_after(visit, given) && visit.head == target.head;
  if (target.by_heater || target.tool < 0) {
    auto to = of_heater(given, target, tool_of(next_on, target.head));
    if (!to) return std::move(to.error());
    target.to = *to;
  } else {
    target.to = moved_head(in_use ? visit.tool : target.tool);
    if (target.to == kNone && !used_.contains(target.tool)) {
      target.left_out = "no toolhead serves it there";
      return success();
    }
  }
  const bool now = moves_after(visit, given) && moved_head(visit.tool) == target.to;
  const int next = now ? visit.tool : tool_of(next_moved, target.to);
  if (next >= 0 && heads_.of_tool(next) != target.head) {
    target.left_out = fmt::format("T{} {} there", moved(next), now ? "is in use" : "comes next");
  } else if (target.name == kNever && target.tool < 0 && target.to != target.head) {
    return refused(given.line, given.text, 0,
                   "a temperature before any tool is selected is for T0, which is to be another",
                   "the job has to say for which tool it is, with a T");
  }
  return success();
}

// The toolhead that a target by a heater's number is for then.
Result<std::size_t> FilamentMove::of_heater(const Given& given, const Target& target, int next) {
  const std::set<std::size_t>& all = goes_to_[target.head];
  if (all.empty()) return target.head;  // it has no filament
  if (all.size() == 1) return *all.begin();
  const Visit& visit = visits_[given.visit];
  if (moves_after(visit, given) && visit.head == target.head) return moved_head(visit.tool);
  const bool off = target.temp_c && *target.temp_c <= 0;
  if (target.inside < 0 || next < 0 || off) {
    const int only = target.inside >= 0 ? target.inside : next;
    if (only >= 0) return moved_head(only);
    // Never selected with any of its tools: none of them is used, which was asked.
    return target.head;
  }
  const std::size_t a = moved_head(target.inside);
  const std::size_t b = moved_head(next);
  if (a == b) return a;
  const auto place = [this](int tool, std::size_t head) {
    return head == kNone ? fmt::format("T{}", moved(tool)) : quoted(heads_[head]);
  };
  return refused(
      given.line, given.text, target.name == kNever ? 0 : given.names[target.name].at,
      fmt::format("it cannot be known for which filament {} is heated here: T{} goes to {}, T{} to "
                  "{}",
                  quoted(heads_[target.head]), target.inside, place(target.inside, a), next,
                  place(next, b)),
      "give this temperature after the select of the tool that it is for, or keep the two "
      "together");
}

// What a target is named by, for marks.
std::string FilamentMove::described(const Given& given, const Target& target) {
  if (target.by_heater) {
    const int from = given.names[target.name].number;
    const int to = target.to == kNone ? from : heads_[target.to].heater_index;
    return from == to ? fmt::format("heater {}", from) : fmt::format("heater {} to {}", from, to);
  }
  if (target.tool < 0) return "T0 as it was";  // before any select
  const int tool = target.tool;
  return moved(tool) == tool ? fmt::format("T{}", tool)
                             : fmt::format("T{} to T{}", tool, moved(tool));
}

Status FilamentMove::write(const Given& given) {
  const auto shared = [&] {
    return refused(given.line, given.text, 0,
                   "a temperature for a filament that moves shares its line with another command",
                   kOwnLine);
  };
  std::vector<int> to;
  for (const Named& n : given.names) {
    to.push_back(n.what == Named::What::tool ? moved(n.number) : n.number);
  }
  for (const Target& t : given.targets) {
    if (!t.left_out.empty()) {
      if (!given.alone) return shared();
      // A comment; or its number is missed, and the machine would ask for the line again.
      out_.push_back(
          {{given.from, given.to, given.numbered ? gcode::count_set_back(given.number) : ";"},
           described(given, t) + ", left out: " + t.left_out,
           given.line});
      return success();
    }
    if (t.name == kNever || t.to == kNone) continue;
    int& number = to[t.name];
    const int plain = number;
    if (t.by_heater) {
      number = heads_[t.to].heater_index;
    } else if (heads_.of_tool(number) != t.to) {
      number = moved(visits_[given.visit].tool);
    }
    const bool two_meanings = t.by_heater && given.names[t.name].what == Named::What::tool;
    if (number != plain && (two_meanings || given.selects)) return shared();
  }
  std::string how;
  for (std::size_t i = 0; i < to.size(); ++i) {
    const Named& n = given.names[i];
    if (to[i] == n.number) continue;
    const bool heater = n.what == Named::What::heater;
    const std::string one = heater ? fmt::format("heater {} to {}", n.number, to[i])
                                   : fmt::format("T{} to T{}", n.number, to[i]);
    if (how.find(one) == std::string::npos) how += (how.empty() ? "" : ", ") + one;
  }
  if (how.empty()) return success();
  gcode::parse(given.text, words_);
  auto line = gcode::with_numbers(given.text, words_, given.names, to);
  if (!line) {
    return refused(given.line, given.text, 0, line.error().message, line.error().hint);
  }
  out_.push_back({{given.from, given.to, std::move(*line)}, std::move(how), given.line});
  return success();
}

// --- heaters that neighbours have had ---

Status FilamentMove::keep_temperatures() {
  std::unordered_map<std::size_t, double> was;  // by toolhead of the job as it is
  std::unordered_map<std::size_t, double> is;   // by toolhead as it will be
  auto given = givens_.begin();
  for (const Visit& v : visits_) {
    if (v.first_moved == kNever) continue;
    for (; given != givens_.end() && given->turn < v.first_moved; ++given) {
      for (const Target& t : given->targets) {
        if (!t.temp_c || t.head == kNone) continue;
        was[t.head] = *t.temp_c;
        if (t.left_out.empty() && t.to != kNone) is[t.to] = *t.temp_c;
      }
    }
    const std::size_t to = moved_head(v.tool);
    if (to == kNone || std::abs(was[v.head] - is[to]) <= kSameC) continue;
    if (auto s = put_in(v, was[v.head], is[to]); !s) return s;
    is[to] = was[v.head];
  }
  return success();
}

Status FilamentMove::put_in(const Visit& v, double temp_c, double meanwhile_c) {
  const std::size_t head = moved_head(v.tool);
  if (temp_c <= 0) {
    return refused(v.moved_line, v.moved_text, 0,
                   fmt::format("T{} moves filament here, but the job has not given toolhead {} a "
                               "temperature",
                               v.tool, quoted(heads_[v.head])),
                   "if it does so in its own way, say how with [[recognise]] as = \"set\" or "
                   "\"wait\"");
  }
  const std::string command =
      rules::filled_in(rules_.dialect.wait, moved(v.tool), heads_[head].heater_index, temp_c);
  if (!v.by_select || v.line == v.moved_line || !understood(command, head, temp_c)) {
    return refused(
        v.moved_line, v.moved_text, 0,
        fmt::format("T{} moves filament here at {:g} C; in toolhead {} it would at {:g} C, given "
                    "for another filament",
                    v.tool, temp_c, quoted(heads_[head]), meanwhile_c),
        fmt::format("the job has to give T{} its temperature between its select and here", v.tool));
  }
  std::string how =
      fmt::format("{}, at {:g} C as before",
                  moved(v.tool) == v.tool ? fmt::format("T{}", v.tool)
                                          : fmt::format("T{} to T{}", v.tool, moved(v.tool)),
                  temp_c);
  const auto put = [&](const std::string& line, std::string why) {
    out_.push_back({{v.end_offset, v.end_offset, line + v.ending}, std::move(why), v.line, true});
  };
  if (!v.count) {
    put(command, std::move(how));
    return success();
  }
  put(gcode::numbered_line(*v.count + 1, command), std::move(how));
  put(gcode::count_set_back(*v.count), "line count set back");
  return success();
}

// Whether the job's reader takes `command` for a wait for this heater.
bool FilamentMove::understood(const std::string& command, std::size_t head, double temp_c) {
  gcode::State state;
  gcode::parse(command, words_);
  gcode::apply(words_, state, effect_);
  found_.clear();
  std::optional<double> seconds;
  if (!recogniser_.empty()) recogniser_.match(command, found_, seconds);
  const auto right = [&](std::size_t of, double c) {
    return of == head && std::abs(c - temp_c) <= kSameC;
  };
  bool waits = false;
  for (const rules::Recognised& r : found_) {
    if (r.as == As::change) return false;
    if (r.as != As::set && r.as != As::wait) continue;
    const std::size_t of =
        r.heater ? heads_.of_heater(*r.heater) : heads_.of_tool(r.tool.value_or(-1));
    if (!right(of, r.temp.value_or(0))) return false;
    waits |= r.as == As::wait;
  }
  if (effect_.selects || effect_.moves) return false;
  if (effect_.sets_target && effect_.has_temp) {
    const auto index = effect_.target_index;
    const std::size_t of = !index     ? head
                           : heaters_ ? heads_.of_heater(*index)
                                      : heads_.of_tool(*index);
    if (!right(of, effect_.temp_c)) return false;
    waits |= effect_.waits_for_target;
  }
  return waits;
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
