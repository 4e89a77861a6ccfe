#include "machine/moved_targets.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "machine/heater_targets.h"

namespace forewarm::machine {

namespace {

using gcode::Named;

constexpr const char* kOwnLine = "put the commands on lines of their own";

std::string quoted(const rules::Toolhead& head) { return '"' + printable(head.name, 80) + '"'; }

Error no_number(std::uint64_t line, std::string_view text, int tool, int to) {
  return refused_line(line, text, 0,
                      fmt::format("this line is for T{} by a [[recognise]] with a fixed tool, and "
                                  "is to be for T{}",
                                  tool, to),
                      "it has no number to change: leave that filament where it is");
}

class TargetMover {
 public:
  TargetMover(const rules::Rules& rules, const Interpreter& interpreter, Heads& heads,
              Visits& visits, gcode::ToolMap& map, std::vector<gcode::MovedLine> lines)
      : rules_(rules),
        interpreter_(interpreter),
        heads_(heads),
        visits_(visits),
        map_(map),
        out_(std::move(lines)) {}

  [[nodiscard]] Result<std::vector<gcode::MovedLine>> run();

 private:
  [[nodiscard]] int moved(int tool) const { return gcode::mapped(map_, tool); }
  [[nodiscard]] std::size_t moved_head(int tool) { return heads_.of_tool(moved(tool)); }
  // Whether a visit is under way, and its use not over.
  [[nodiscard]] static bool in_use(const Visit& visit, const TargetLine& line) {
    return visit.tool >= 0 && visit.last_used != kNever && visit.last_used >= line.turn;
  }
  [[nodiscard]] bool is_hot(std::size_t head, double temp_c) const {
    return temp_c > heads_[head].hotend.ambient_c;
  }
  [[nodiscard]] Status make_room();
  void find_waits();
  [[nodiscard]] Status redirect_targets();
  [[nodiscard]] Status redirect(const TargetLine& line, GivenTarget& target,
                                const ToolByHead& next_on, const ToolByHead& next_moved);
  void find_destinations();
  [[nodiscard]] Result<std::size_t> filament_of_heater(const TargetLine& line,
                                                       const GivenTarget& target, int next);
  [[nodiscard]] std::string why_left_out(const TargetLine& line, const GivenTarget& target,
                                         int next);
  [[nodiscard]] Status write(const TargetLine& line);
  [[nodiscard]] std::string described(const TargetLine& line, const GivenTarget& target);
  [[nodiscard]] Status keep_temperatures();
  void set(GivenTarget& target, HeaterTargets& was, HeaterTargets& is);
  [[nodiscard]] bool as_before(const Visit& visit, const HeaterTargets::Heater& was,
                               const HeaterTargets::Heater& is) const;
  [[nodiscard]] Status insert_wait(const Visit& visit, const HeaterTargets::Heater& was,
                                   const HeaterTargets::Heater& is);
  [[nodiscard]] bool understood(const std::string& command, std::size_t head, double temp_c,
                                bool waits);

  const rules::Rules& rules_;
  const Interpreter& interpreter_;
  Heads& heads_;
  Visits& visits_;
  gcode::ToolMap& map_;
  // Of each toolhead, those that its filaments go to.
  std::unordered_map<std::size_t, std::set<std::size_t>> destinations_;
  std::vector<gcode::MovedLine> out_;
};

Result<std::vector<gcode::MovedLine>> TargetMover::run() {
  for (const Visit& v : visits_.list) {
    if (v.tool >= 0 && !v.by_select && moved(v.tool) != v.tool) {
      return refused_line(
          v.used_line, v.used_text, 0,
          fmt::format("T{} moves filament here without being selected, and is to be T{}", v.tool,
                      moved(v.tool)),
          "there is no line to change: the job has to select it");
    }
  }
  for (const auto& [tool, fixed] : visits_.fixed) {
    if (moved(tool) != tool) return no_number(fixed.line, fixed.text, tool, moved(tool));
  }
  if (auto s = make_room(); !s) return std::move(s.error());
  find_destinations();
  find_waits();
  if (auto s = redirect_targets(); !s) return std::move(s.error());
  if (auto s = keep_temperatures(); !s) return std::move(s.error());
  for (const TargetLine& line : visits_.target_lines) {
    if (auto s = write(line); !s) return std::move(s.error());
  }
  std::stable_sort(out_.begin(), out_.end(), [](const auto& a, const auto& b) {
    return std::pair(a.splice.from, !a.inserted) < std::pair(b.splice.from, !b.inserted);
  });
  return std::move(out_);
}

Status TargetMover::make_room() {
  std::set<int> all = visits_.used;
  all.insert(visits_.named.begin(), visits_.named.end());
  for (const auto& [from, to] : map_) all.insert(from);
  std::map<int, int> from;  // by where it is then
  for (const int tool : all) {
    if (from.emplace(moved(tool), tool).second) continue;
    Error e{Error::Kind::usage,
            fmt::format("more than one tool of the job would be T{}", moved(tool))};
    e.hint = "say where that one goes, too";
    return e;
  }
  for (const int tool : visits_.targeted) {
    if (all.contains(tool)) continue;
    int place = tool;
    for (auto it = from.find(place); it != from.end(); it = from.find(place)) place = it->second;
    if (place != tool) map_.emplace(tool, place);
  }
  return success();
}

void TargetMover::find_destinations() {
  for (const int tool : visits_.used) {
    const std::size_t head = heads_.of_tool(tool);
    if (head != kNone) destinations_[head].insert(moved_head(tool));
  }
}

// Waits for what is mounted are uses, where they are not for the filament that comes next.
void TargetMover::find_waits() {
  for (const TargetLine& line : visits_.target_lines) {
    Visit& visit = visits_.list[line.visit];
    bool parts = false;  // by an exchange, from what comes next
    if (line.visit + 1 < visits_.list.size()) {
      const Visit& next = visits_.list[line.visit + 1];
      parts = next.head == visit.head && moved_head(next.tool) != moved_head(visit.tool);
    }
    const bool waits =
        std::any_of(line.targets.begin(), line.targets.end(), [&](const GivenTarget& t) {
          return t.uses && (t.by_heater ? !parts : t.tool == visit.tool);
        });
    if (!waits) continue;
    if (visit.first_used > line.turn) {  // or never
      visit.first = Visit::First::waited;
      visit.first_used = line.turn;
      visit.used_line = line.line;
      visit.used_text = line.text;
    } else {
      visit.goes_on = true;
    }
    if (visit.last_used == kNever || visit.last_used < line.turn) visit.last_used = line.turn;
  }
}

Status TargetMover::redirect_targets() {
  ToolByHead next_on;    // the tool that a toolhead is next selected with, as the job is
  ToolByHead next_used;  // the tool whose filament is next used, by where it will be
  std::size_t g = visits_.target_lines.size();
  for (std::size_t v = visits_.list.size(); v-- > 0;) {
    const Visit& visit = visits_.list[v];
    for (; g > 0 && visits_.target_lines[g - 1].visit == v; --g) {
      for (GivenTarget& target : visits_.target_lines[g - 1].targets) {
        if (auto s = redirect(visits_.target_lines[g - 1], target, next_on, next_used); !s)
          return s;
      }
    }
    if (visit.tool < 0) continue;
    next_on[visit.head] = visit.tool;
    if (visit.first_used != kNever) next_used[moved_head(visit.tool)] = visit.tool;
  }
  return success();
}

Status TargetMover::redirect(const TargetLine& line, GivenTarget& target, const ToolByHead& next_on,
                             const ToolByHead& next_used) {
  if (target.head == kNone) return success();  // off, for what no toolhead has
  const Visit& visit = visits_.list[line.visit];
  const bool own_use = in_use(visit, line) && visit.head == target.head;
  if (own_use) target.cools = false;  // to another temperature that it is used at
  if (target.by_heater || target.tool < 0) {
    auto to = filament_of_heater(line, target, tool_of(next_on, target.head));
    if (!to) return std::move(to.error());
    target.to = *to;
  } else if (target.cools && target.name != kNever && target.used_with >= 0) {
    target.to = moved_head(target.used_with);
  } else {
    target.to = moved_head(own_use ? visit.tool : target.tool);
    if (target.to == kNone && !visits_.used.contains(target.tool)) {
      target.left_out = "no toolhead serves it there";
      return success();
    }
  }
  target.left_out = why_left_out(line, target, tool_of(next_used, target.to));
  if (target.left_out.empty() && target.fixed && target.to != target.head) {
    const int used = own_use ? visit.tool : target.used_with;
    return no_number(line.line, line.text, target.tool, used < 0 ? target.tool : moved(used));
  }
  if (target.left_out.empty() && target.name == kNever && target.tool < 0 &&
      target.to != target.head) {
    return refused_line(
        line.line, line.text, 0,
        "a temperature before any tool is selected is for T0, which is to be another",
        "the job has to say for which tool it is, with a T");
  }
  return success();
}

// `next`: the tool whose filament is next used in the toolhead that it is for then.
std::string TargetMover::why_left_out(const TargetLine& line, const GivenTarget& target, int next) {
  const auto is_other = [&](int tool) { return tool >= 0 && heads_.of_tool(tool) != target.head; };
  const Visit& visit = visits_.list[line.visit];
  const bool mounted = visit.tool >= 0 && moved_head(visit.tool) == target.to;
  if (mounted && in_use(visit, line)) {
    return is_other(visit.tool) ? fmt::format("T{} is in use there", moved(visit.tool)) : "";
  }
  if (mounted && is_other(visit.tool) && target.waits && !target.cools) {
    return fmt::format("T{} is in it", moved(visit.tool));
  }
  if (!is_other(next)) return "";
  // What is mounted may cool down before it is put away.
  if (target.cools && mounted && !is_other(visit.tool)) {
    const bool last = line.visit + 1 == visits_.list.size();
    const int after = last ? -1 : visits_.list[line.visit + 1].tool;
    if (after < 0 || moved_head(after) != target.to) return "";
  }
  return fmt::format("T{} comes next there", moved(next));
}

// The toolhead that a target by a heater's number is for then.
Result<std::size_t> TargetMover::filament_of_heater(const TargetLine& line,
                                                    const GivenTarget& target, int next) {
  const std::set<std::size_t>& all = destinations_[target.head];
  if (all.empty()) return target.head;  // it has no filament
  if (all.size() == 1) return *all.begin();
  const Visit& visit = visits_.list[line.visit];
  if (in_use(visit, line) && visit.head == target.head) return moved_head(visit.tool);
  if (target.cools && target.used_with >= 0) return moved_head(target.used_with);
  const bool off = target.temp_c && *target.temp_c <= 0;
  if (target.loaded < 0 || next < 0 || off) {
    const int only = target.loaded >= 0 ? target.loaded : next;
    if (only >= 0) return moved_head(only);
    // Never selected with any of its tools: none of them is used, which was asked.
    return target.head;
  }
  const std::size_t a = moved_head(target.loaded);
  const std::size_t b = moved_head(next);
  if (a == b) return a;
  const auto place = [this](int tool, std::size_t head) {
    return head == kNone ? fmt::format("T{}", moved(tool)) : quoted(heads_[head]);
  };
  return refused_line(
      line.line, line.text, target.name == kNever ? 0 : line.names[target.name].at,
      fmt::format("it cannot be known for which filament {} is heated here: T{} goes to {}, T{} to "
                  "{}",
                  quoted(heads_[target.head]), target.loaded, place(target.loaded, a), next,
                  place(next, b)),
      "give this temperature after the select of the tool that it is for, or keep the two "
      "together");
}

// What a target is named by, for marks.
std::string TargetMover::described(const TargetLine& line, const GivenTarget& target) {
  if (target.by_heater) {
    const int from = line.names[target.name].number;
    const int to = target.to == kNone ? from : heads_[target.to].heater_index;
    return from == to ? fmt::format("heater {}", from) : fmt::format("heater {} to {}", from, to);
  }
  if (target.tool < 0) return "T0 as it was";  // before any select
  const int tool = target.tool;
  return moved(tool) == tool ? fmt::format("T{}", tool)
                             : fmt::format("T{} to T{}", tool, moved(tool));
}

Status TargetMover::write(const TargetLine& line) {
  const auto shared = [&] {
    return refused_line(
        line.line, line.text, 0,
        "a temperature for a filament that moves shares its line with another command", kOwnLine);
  };
  std::vector<int> to;
  for (const Named& n : line.names) {
    to.push_back(n.kind == Named::Kind::tool ? moved(n.number) : n.number);
  }
  for (const GivenTarget& t : line.targets) {
    if (!t.left_out.empty()) {
      if (!line.alone) return shared();
      // A comment; or its number is missed, and the machine would ask for the line again.
      out_.push_back(
          {{line.from, line.to, line.numbered ? gcode::count_set_back(line.number) : ";"},
           described(line, t) + ", left out: " + t.left_out,
           line.line});
      return success();
    }
    if (t.name == kNever || t.to == kNone) continue;
    int& number = to[t.name];
    const int plain = number;
    if (t.by_heater) {
      number = heads_[t.to].heater_index;
    } else if (heads_.of_tool(number) != t.to) {
      number = moved(t.cools ? t.used_with : visits_.list[line.visit].tool);
    }
    const bool two_meanings = t.by_heater && line.names[t.name].kind == Named::Kind::tool;
    if (number != plain && (two_meanings || line.selects)) return shared();
  }
  std::string how;
  for (std::size_t i = 0; i < to.size(); ++i) {
    const Named& n = line.names[i];
    if (to[i] == n.number) continue;
    const bool heater = n.kind == Named::Kind::heater;
    const std::string one = heater ? fmt::format("heater {} to {}", n.number, to[i])
                                   : fmt::format("T{} to T{}", n.number, to[i]);
    if (how.find(one) == std::string::npos) how += (how.empty() ? "" : ", ") + one;
  }
  if (how.empty()) return success();
  gcode::Words words;
  gcode::parse(line.text, words);
  auto text = gcode::with_numbers(line.text, words, line.names, to);
  if (!text) {
    return refused_line(line.line, line.text, 0, text.error().message, text.error().hint);
  }
  out_.push_back({{line.from, line.to, std::move(*text)}, std::move(how), line.line});
  return success();
}

// --- heaters that neighbours have had ---

Status TargetMover::keep_temperatures() {
  HeaterTargets was(heads_);  // by toolhead of the job as it is
  HeaterTargets is(heads_);   // by toolhead as it will be
  auto line = visits_.target_lines.begin();
  auto feed = visits_.feeds.begin();
  // Up to `turn`, it included.
  const auto follow = [&](std::size_t turn) {
    for (;;) {
      const bool targets = line != visits_.target_lines.end() && line->turn <= turn;
      const bool feeds = feed != visits_.feeds.end() && *feed < turn;
      if (targets && (!feeds || line->turn < *feed)) {
        for (GivenTarget& t : (line++)->targets) set(t, was, is);
      } else if (feeds) {
        was.feed();
        is.feed();
        ++feed;
      } else {
        return;
      }
    }
  };
  for (const Visit& v : visits_.list) {
    if (v.first_used == kNever) continue;
    const std::size_t to = moved_head(v.tool);
    follow(v.turn);
    const HeaterTargets::Heater at_select = was[v.head];
    const HeaterTargets::Heater meanwhile = to == kNone ? HeaterTargets::Heater{} : is[to];
    follow(v.first_used);
    if (to == kNone) continue;
    if (!as_before(v, was[v.head], is[to])) {
      if (auto s = insert_wait(v, at_select, meanwhile); !s) return s;
      is.copy_from(to, was[v.head]);
    }
  }
  follow(kNever);
  return success();
}

void TargetMover::set(GivenTarget& t, HeaterTargets& was, HeaterTargets& is) {
  if (!t.temp_c || t.head == kNone) return;
  const bool kept = t.left_out.empty() && t.to != kNone;
  if (!t.cools) {
    was.set(t.head, t.temp_c);
    if (kept) is.set(t.to, t.temp_c);
    return;
  }
  if (kept && was[t.head].highest_c > *t.temp_c && is[t.to].highest_c <= *t.temp_c) {
    t.left_out = "it is no hotter there";
  } else if (kept) {
    is.cool(t.to, *t.temp_c);
  }
  was.cool(t.head, *t.temp_c);
}

// Whether a use begins as it did.
bool TargetMover::as_before(const Visit& v, const HeaterTargets::Heater& was,
                            const HeaterTargets::Heater& is) const {
  if (v.first == Visit::First::fed || is_hot(v.head, was.target_c)) {
    return std::abs(was.target_c - is.target_c) <= kSameTargetC;
  }
  if (is_hot(v.head, is.target_c)) return false;
  return was.before_off_c == 0 || std::abs(was.before_off_c - is.before_off_c) <= kSameTargetC;
}

// `was`, `is`: at the select.
Status TargetMover::insert_wait(const Visit& v, const HeaterTargets::Heater& was,
                                const HeaterTargets::Heater& is) {
  const std::size_t head = moved_head(v.tool);
  const bool off = !is_hot(v.head, was.target_c);
  const double temp_c = !off ? was.target_c : v.first == Visit::First::fed ? 0 : was.before_off_c;
  if (temp_c <= 0 && (v.first == Visit::First::fed || v.goes_on)) {
    return refused_line(
        v.used_line, v.used_text, 0,
        fmt::format("T{} moves filament here, but the job has not given toolhead {} a "
                    "temperature",
                    v.tool, quoted(heads_[v.head])),
        "if it does so in its own way, say how with [[recognise]] as = \"set\" or "
        "\"wait\"");
  }
  const std::string who = moved(v.tool) == v.tool
                              ? fmt::format("T{}", v.tool)
                              : fmt::format("T{} to T{}", v.tool, moved(v.tool));
  struct Command {
    std::string text, how;
    double temp_c;
    bool waits;
  };
  std::vector<Command> commands;
  const auto command = [&](const std::string& pattern, double c, bool waits, std::string how) {
    commands.push_back({rules::filled_in(pattern, moved(v.tool), heads_[head].heater_index, c,
                                         rules_.dialect.wait_window_c),
                        who + std::move(how), c, waits});
  };
  if (temp_c > 0) {
    command(rules_.dialect.wait, temp_c, true, fmt::format(", at {:g} C as before", temp_c));
  }
  if (off) command(rules_.dialect.set, 0, false, ", off as before");
  const bool good = std::all_of(commands.begin(), commands.end(), [&](const Command& c) {
    return understood(c.text, head, c.temp_c, c.waits);
  });
  if (!v.by_select || v.line == v.used_line || !good) {
    return refused_line(
        v.used_line, v.used_text, 0,
        fmt::format("T{} {} here at {:g} C; in toolhead {} it would at {:g} C, given for another "
                    "filament",
                    v.tool, v.first == Visit::First::waited ? "is waited for" : "moves filament",
                    temp_c, quoted(heads_[head]), std::max(is.target_c, is.before_off_c)),
        fmt::format("the job has to give T{} its temperature between its select and here", v.tool));
  }
  const auto put = [&](const std::string& line, std::string why) {
    out_.push_back({{v.end_offset, v.end_offset, line + v.ending}, std::move(why), v.line, true});
  };
  for (Command& c : commands) {
    // Each sets the count of lines back for itself: the plan may take it out.
    put(v.count ? gcode::numbered_line(*v.count + 1, c.text) : c.text, std::move(c.how));
    if (v.count) put(gcode::count_set_back(*v.count), "line count set back");
  }
  return success();
}

// Whether the job's reader takes `command` for this of this heater.
bool TargetMover::understood(const std::string& command, std::size_t head, double temp_c,
                             bool waits) {
  using Kind = Operation::Kind;
  gcode::State state;
  InterpretedLine line;
  interpreter_.read(command, state, line);
  bool sets = false;
  bool does_wait = false;
  for (const Operation& operation : line.operations) {
    if (operation.kind == Kind::select || operation.kind == Kind::move) return false;
    if (operation.kind != Kind::set_target || !operation.temp_c) continue;
    const bool by_number = operation.heater.by != HeaterAddress::By::mounted;
    if (by_number && heads_.of(operation.heater) != head) return false;
    if (std::abs(*operation.temp_c - temp_c) > kSameTargetC) return false;
    sets = true;
    does_wait |= operation.waits;
  }
  return sets && does_wait == waits;
}

}  // namespace

Result<std::vector<gcode::MovedLine>> move_targets(const rules::Rules& rules,
                                                   const Interpreter& interpreter, Heads& heads,
                                                   Visits& visits, gcode::ToolMap& map,
                                                   std::vector<gcode::MovedLine> lines) {
  return TargetMover(rules, interpreter, heads, visits, map, std::move(lines)).run();
}

}  // namespace forewarm::machine
