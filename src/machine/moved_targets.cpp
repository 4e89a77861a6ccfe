#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "machine/move_filaments.h"

namespace forewarm::machine {

namespace {

using gcode::Named;

constexpr double kSameC = 0.01;

constexpr const char* kOwnLine = "put the commands on lines of their own";

int tool_of(const std::unordered_map<std::size_t, int>& by_head, std::size_t head) {
  const auto it = by_head.find(head);
  return it == by_head.end() ? -1 : it->second;
}

std::string quoted(const rules::Toolhead& head) { return '"' + printable(head.name, 80) + '"'; }

}  // namespace

// --- what becomes of it, once all is known ---

Result<std::vector<gcode::MovedLine>> FilamentMove::finish() {
  for (const Visit& v : visits_) {
    if (v.tool >= 0 && !v.by_select && moved(v.tool) != v.tool) {
      return refused(v.used_line, v.used_text, 0,
                     fmt::format("T{} moves filament here without being selected, and is to be T{}",
                                 v.tool, moved(v.tool)),
                     "there is no line to change: the job has to select it");
    }
  }
  if (auto s = make_room(); !s) return std::move(s.error());
  find_where_heads_go();
  find_waits();
  if (auto s = settle_targets(); !s) return std::move(s.error());
  if (auto s = keep_temperatures(); !s) return std::move(s.error());
  for (const TargetLine& given : givens_) {
    if (auto s = write(given); !s) return std::move(s.error());
  }
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

// Waits for what is mounted are uses, where they are not for the filament that comes next.
void FilamentMove::find_waits() {
  for (const TargetLine& given : givens_) {
    Visit& visit = visits_[given.visit];
    bool parts = false;  // by an exchange, from what comes next
    if (given.visit + 1 < visits_.size()) {
      const Visit& next = visits_[given.visit + 1];
      parts = next.head == visit.head && moved_head(next.tool) != moved_head(visit.tool);
    }
    const bool waits = std::any_of(
        given.targets.begin(), given.targets.end(),
        [&](const Target& t) { return t.uses && (t.by_heater ? !parts : t.tool == visit.tool); });
    if (!waits) continue;
    if (visit.first_used > given.turn) {  // or never
      visit.first = Visit::First::waited;
      visit.first_used = given.turn;
      visit.used_line = given.line;
      visit.used_text = given.text;
    } else {
      visit.goes_on = true;
    }
    if (visit.last_used == kNever || visit.last_used < given.turn) visit.last_used = given.turn;
  }
}

Status FilamentMove::settle_targets() {
  ByHead next_on;    // the tool that a toolhead is next selected with, as the job is
  ByHead next_used;  // the tool whose filament is next used, by where it will be
  std::size_t g = givens_.size();
  for (std::size_t v = visits_.size(); v-- > 0;) {
    const Visit& visit = visits_[v];
    for (; g > 0 && givens_[g - 1].visit == v; --g) {
      for (Target& target : givens_[g - 1].targets) {
        if (auto s = settle(givens_[g - 1], target, next_on, next_used); !s) return s;
      }
    }
    if (visit.tool < 0) continue;
    next_on[visit.head] = visit.tool;
    if (visit.first_used != kNever) next_used[moved_head(visit.tool)] = visit.tool;
  }
  return success();
}

Status FilamentMove::settle(const TargetLine& given, Target& target, const ByHead& next_on,
                            const ByHead& next_used) {
  if (target.head == kNone) return success();  // off, for what no toolhead has
  const Visit& visit = visits_[given.visit];
  const bool own_use = in_use(visit, given) && visit.head == target.head;
  if (own_use) target.cools = false;  // to another temperature that it is used at
  if (target.by_heater || target.tool < 0) {
    auto to = of_heater(given, target, tool_of(next_on, target.head));
    if (!to) return std::move(to.error());
    target.to = *to;
  } else if (target.cools && target.name != kNever && target.user >= 0) {
    target.to = moved_head(target.user);
  } else {
    target.to = moved_head(own_use ? visit.tool : target.tool);
    if (target.to == kNone && !used_.contains(target.tool)) {
      target.left_out = "no toolhead serves it there";
      return success();
    }
  }
  target.left_out = why_left_out(given, target, tool_of(next_used, target.to));
  if (target.left_out.empty() && target.name == kNever && target.tool < 0 &&
      target.to != target.head) {
    return refused(given.line, given.text, 0,
                   "a temperature before any tool is selected is for T0, which is to be another",
                   "the job has to say for which tool it is, with a T");
  }
  return success();
}

// `next`: the tool whose filament is next used in the toolhead that it is for then.
std::string FilamentMove::why_left_out(const TargetLine& given, const Target& target, int next) {
  const auto is_other = [&](int tool) { return tool >= 0 && heads_.of_tool(tool) != target.head; };
  const Visit& visit = visits_[given.visit];
  const bool mounted = visit.tool >= 0 && moved_head(visit.tool) == target.to;
  if (mounted && in_use(visit, given)) {
    return is_other(visit.tool) ? fmt::format("T{} is in use there", moved(visit.tool)) : "";
  }
  if (mounted && is_other(visit.tool) && target.waits && !target.cools) {
    return fmt::format("T{} is in it", moved(visit.tool));
  }
  if (!is_other(next)) return "";
  // What is mounted may cool down before it is put away.
  if (target.cools && mounted && !is_other(visit.tool)) {
    const bool last = given.visit + 1 == visits_.size();
    const int after = last ? -1 : visits_[given.visit + 1].tool;
    if (after < 0 || moved_head(after) != target.to) return "";
  }
  return fmt::format("T{} comes next there", moved(next));
}

// The toolhead that a target by a heater's number is for then.
Result<std::size_t> FilamentMove::of_heater(const TargetLine& given, const Target& target,
                                            int next) {
  const std::set<std::size_t>& all = goes_to_[target.head];
  if (all.empty()) return target.head;  // it has no filament
  if (all.size() == 1) return *all.begin();
  const Visit& visit = visits_[given.visit];
  if (in_use(visit, given) && visit.head == target.head) return moved_head(visit.tool);
  if (target.cools && target.user >= 0) return moved_head(target.user);
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
std::string FilamentMove::described(const TargetLine& given, const Target& target) {
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

Status FilamentMove::write(const TargetLine& given) {
  const auto shared = [&] {
    return refused(given.line, given.text, 0,
                   "a temperature for a filament that moves shares its line with another command",
                   kOwnLine);
  };
  std::vector<int> to;
  for (const Named& n : given.names) {
    to.push_back(n.kind == Named::Kind::tool ? moved(n.number) : n.number);
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
      number = moved(t.cools ? t.user : visits_[given.visit].tool);
    }
    const bool two_meanings = t.by_heater && given.names[t.name].kind == Named::Kind::tool;
    if (number != plain && (two_meanings || given.selects)) return shared();
  }
  std::string how;
  for (std::size_t i = 0; i < to.size(); ++i) {
    const Named& n = given.names[i];
    if (to[i] == n.number) continue;
    const bool heater = n.kind == Named::Kind::heater;
    const std::string one = heater ? fmt::format("heater {} to {}", n.number, to[i])
                                   : fmt::format("T{} to T{}", n.number, to[i]);
    if (how.find(one) == std::string::npos) how += (how.empty() ? "" : ", ") + one;
  }
  if (how.empty()) return success();
  gcode::parse(given.text, line_.words);
  auto line = gcode::with_numbers(given.text, line_.words, given.names, to);
  if (!line) {
    return refused(given.line, given.text, 0, line.error().message, line.error().hint);
  }
  out_.push_back({{given.from, given.to, std::move(*line)}, std::move(how), given.line});
  return success();
}

// --- heaters that neighbours have had ---

Status FilamentMove::keep_temperatures() {
  HeaterTargets was(heads_);  // by toolhead of the job as it is
  HeaterTargets is(heads_);   // by toolhead as it will be
  auto given = givens_.begin();
  auto fed = fed_.begin();
  // Up to `turn`, it included.
  const auto follow = [&](std::size_t turn) {
    for (;;) {
      const bool gives = given != givens_.end() && given->turn <= turn;
      const bool feeds = fed != fed_.end() && *fed < turn;
      if (gives && (!feeds || given->turn < *fed)) {
        for (Target& t : (given++)->targets) give(t, was, is);
      } else if (feeds) {
        was.feed();
        is.feed();
        ++fed;
      } else {
        return;
      }
    }
  };
  for (const Visit& v : visits_) {
    if (v.first_used == kNever) continue;
    const std::size_t to = moved_head(v.tool);
    follow(v.turn);
    const HeaterTargets::Heater at_select = was[v.head];
    const HeaterTargets::Heater meanwhile = to == kNone ? HeaterTargets::Heater{} : is[to];
    follow(v.first_used);
    if (to == kNone) continue;
    if (!as_before(v, was[v.head], is[to])) {
      if (auto s = put_in(v, at_select, meanwhile); !s) return s;
      is.copy_from(to, was[v.head]);
    }
  }
  follow(kNever);
  return success();
}

void FilamentMove::give(Target& t, HeaterTargets& was, HeaterTargets& is) {
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
bool FilamentMove::as_before(const Visit& v, const HeaterTargets::Heater& was,
                             const HeaterTargets::Heater& is) const {
  if (v.first == Visit::First::fed || heater_targets_.is_hot(v.head, was.target_c)) {
    return std::abs(was.target_c - is.target_c) <= kSameC;
  }
  if (heater_targets_.is_hot(v.head, is.target_c)) return false;
  return was.before_off_c == 0 || std::abs(was.before_off_c - is.before_off_c) <= kSameC;
}

// `was`, `is`: at the select.
Status FilamentMove::put_in(const Visit& v, const HeaterTargets::Heater& was,
                            const HeaterTargets::Heater& is) {
  const std::size_t head = moved_head(v.tool);
  const bool off = !heater_targets_.is_hot(v.head, was.target_c);
  const double temp_c = !off ? was.target_c : v.first == Visit::First::fed ? 0 : was.before_off_c;
  if (temp_c <= 0 && (v.first == Visit::First::fed || v.goes_on)) {
    return refused(v.used_line, v.used_text, 0,
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
    commands.push_back({rules::filled_in(pattern, moved(v.tool), heads_[head].heater_index, c),
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
    return refused(
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
bool FilamentMove::understood(const std::string& command, std::size_t head, double temp_c,
                              bool waits) {
  using Kind = Operation::Kind;
  gcode::State state;
  interpreter_.read(command, state, line_);
  bool sets = false;
  bool does_wait = false;
  for (const Operation& operation : line_.operations) {
    if (operation.kind == Kind::select || operation.kind == Kind::move) return false;
    if (operation.kind != Kind::set_target || !operation.temp_c) continue;
    const bool by_number = operation.heater.by != HeaterAddress::By::mounted;
    if (by_number && changer_.head_of(operation.heater) != head) return false;
    if (std::abs(*operation.temp_c - temp_c) > kSameC) return false;
    sets = true;
    does_wait |= operation.waits;
  }
  return sets && does_wait == waits;
}

}  // namespace forewarm::machine
