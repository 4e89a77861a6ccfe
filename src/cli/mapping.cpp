#include "cli/mapping.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "assign/problem.h"
#include "cli/inputs.h"
#include "machine/move_filaments.h"
#include "rules/load.h"
#include "rules/recogniser.h"

namespace forewarm::cli {

namespace {

Error usage(const std::string& asked, const std::string& message, std::string hint = {}) {
  Error e{Error::Kind::usage, "--map " + printable(asked, 80) + ": " + message};
  e.hint = std::move(hint);
  return e;
}

constexpr const char* kForm = "write --map best, or --map 0=3,3=0: what is T0 becomes T3, ...";

bool take_tool(std::string_view& rest, int& tool) {
  if (rest.empty() || rest[0] < '0' || rest[0] > '9') return false;
  const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), tool);
  if (error != std::errc{} || tool > 65535) return false;
  rest.remove_prefix(std::size_t(end - rest.data()));
  return true;
}

Result<gcode::ToolMap> parse_map(const std::string& asked) {
  gcode::ToolMap map;
  std::string_view rest = asked;
  for (;;) {
    int from = 0;
    int to = 0;
    if (!take_tool(rest, from) || rest.empty() || rest[0] != '=') {
      return usage(asked, "no pairs of T numbers can be read", kForm);
    }
    rest.remove_prefix(1);
    if (!take_tool(rest, to)) return usage(asked, "no pairs of T numbers can be read", kForm);
    if (!map.emplace(from, to).second) {
      return usage(asked, "T" + std::to_string(from) + " is moved twice");
    }
    if (rest.empty()) return map;
    if (rest[0] != ',') return usage(asked, "no pairs of T numbers can be read", kForm);
    rest.remove_prefix(1);
  }
}

Result<gcode::ToolMap> best_map(const job::Job& job, const rules::Rules& rules) {
  auto problem = assign::problem_of(job, rules, assign::Problem::By::time);
  if (!problem) return std::move(problem.error());
  auto assignment = assign::solve(*problem);
  if (!assignment) return std::move(assignment.error());
  gcode::ToolMap map;
  for (std::size_t i = 0; i < problem->filaments.size(); ++i) {
    map.emplace(problem->filaments[i].tool, assignment->map[i]);
  }
  return map;
}

std::string place_name(const rules::Rules& rules, int tool) {
  const auto head = rules.toolhead_of(tool);
  return head ? printable(rules.toolheads[*head].name, 80) : std::string();
}

Error broken(const assign::BrokenPlace& b, const rules::Rules& rules) {
  const auto tool = [](int number, const std::string& name) {
    return "T" + std::to_string(number) + " (" + printable(name, 80) + ")";
  };
  const std::string who = tool(b.filament.tool, b.filament.name);
  const std::string to = "T" + std::to_string(b.to);
  Error e{Error::Kind::rules, "", rules.file, b.filament.line};
  if (b.other) {
    e.message = "--map puts " + tool(*b.other, rules.filament(*b.other).name) + " at " + to +
                ", where " + who + " is fixed";
  } else if (b.key == "fixed") {
    e.message = "--map puts " + who + " at " + to + ", but it is fixed";
  } else {
    e.message =
        "--map puts " + who + " at " + to + ", where its `" + b.key + "` does not let it be";
  }
  e.hint = "--force-map does it all the same";
  return e;
}

// Converts line numbers of the mapped text to those of the original.
class Lines {
 public:
  explicit Lines(const std::vector<gcode::MovedLine>& lines) {
    for (const gcode::MovedLine& line : lines) {
      if (line.inserted) inserted_.push_back(line.line + inserted_.size() + 1);
    }
  }
  void count(std::uint64_t& line) const {
    line -= std::uint64_t(std::upper_bound(inserted_.begin(), inserted_.end(), line) -
                          inserted_.begin());
  }

 private:
  std::vector<std::uint64_t> inserted_;  // their lines in the moved text
};

// Checks that each filament is used at the same temperature before and after the mapping, as the
// scanner reads the two jobs. A use that only exchanges has no temperature of its own.
Status same_temperatures(const job::Job& before, const job::Job& after, const gcode::ToolMap& map) {
  using Kind = job::ToolUse::Kind;
  constexpr double kSameC = 0.01;
  const auto same = [](std::optional<double> a, std::optional<double> b) {
    return std::abs(a.value_or(0) - b.value_or(0)) <= kSameC;
  };
  const auto has_own = [](const job::ToolUse& s) { return s.kind != Kind::exchanged; };
  const auto other = [&before](const job::ToolUse& s) {
    return Error{Error::Kind::internal,
                 "a bug in forewarm, nothing was written: --map would give T" +
                     std::to_string(s.tool) + " another temperature",
                 before.name, s.first_line};
  };
  // The wait may already be for the filament that the same toolhead gets next.
  const auto leads_to_exchange = [&before](const job::ToolUse& s) {
    const std::size_t next = s.select == job::kNone ? 0 : s.select + 1;
    for (std::size_t i = next; i < before.tool_changes.size(); ++i) {
      if (before.tool_changes[i].kind == job::ChangeKind::redundant) continue;
      return before.tool_changes[i].head == s.head;
    }
    return false;
  };
  // A wait for cooling ends where the use begins: its temperature need not be the use's own.
  const auto may_cool = [&before](const job::ToolUse& s) {
    return std::any_of(before.targets.begin(), before.targets.end(), [&s](const job::Target& t) {
      return t.cooling && t.end_offset == s.first.offset;
    });
  };
  auto b = after.uses.begin();
  for (const job::ToolUse& a : before.uses) {
    if (!has_own(a)) continue;
    // Both jobs have the same selects. Uses that have no counterpart in `before` are skipped: they
    // have no temperature of their own, or pull a filament after its heater was switched off.
    while (b != after.uses.end() &&
           b->select + 1 < a.select + 1 &&  // +1: kNone, no select yet, comes first
           (!has_own(*b) || b->kind == Kind::waited || b->before_off_c > 0)) {
      ++b;
    }
    const bool there = b != after.uses.end() && b->select == a.select;
    if (a.kind == Kind::waited && (leads_to_exchange(a) || may_cool(a))) continue;
    if (!there || b->kind != a.kind || b->tool != gcode::mapped(map, a.tool) ||
        !same(b->work_c, a.work_c) || (a.kind == Kind::fed && !same(b->last_c, a.last_c))) {
      return other(a);
    }
    ++b;
  }
  return success();
}

// A map that moves a filament against its rules is an error, or with `force` a note.
Status check_places(const Context& context, const job::Job& job, const rules::Rules& rules,
                    const gcode::ToolMap& map, bool force) {
  for (const assign::BrokenPlace& b : assign::broken_places(job, rules, map)) {
    Error e = broken(b, rules);
    if (!force) return e;
    e.hint.clear();
    context.note(render(e));
  }
  return success();
}

// What to load where, a line each.
std::vector<std::string> loading_of(const machine::FilamentMove& move, const rules::Rules& rules) {
  std::vector<std::string> out;
  for (const auto& [from, to] : move.map()) {
    if (!move.used().contains(from)) continue;
    const std::string place = place_name(rules, to);
    out.push_back("load T" + std::to_string(to) + (place.empty() ? "" : " (" + place + ")") + ": " +
                  printable(rules.filament(from).name, 80) + ", from T" + std::to_string(from));
  }
  return out;
}

// The job with its filaments moved, and with the line numbers of the original.
Result<job::Job> scan_mapped(const Context& context, const Mapping& mapping,
                             const std::string& name) {
  const Lines as_original(mapping.lines);
  auto out = scan_job(context, *mapping.text, mapping.rules, name);
  if (!out) {
    as_original.count(out.error().line);
    return out;
  }
  out->rewritten_anyway = true;
  for (job::ToolChange& s : out->tool_changes) as_original.count(s.line);
  for (job::Target& t : out->targets) as_original.count(t.line);
  for (job::ToolUse& s : out->uses) as_original.count(s.first_line);
  for (job::Hint& h : out->hints) as_original.count(h.line);
  as_original.count(out->lines);
  return out;
}

}  // namespace

std::uint64_t original_line(const Mapping& mapping, std::uint64_t line) {
  Lines(mapping.lines).count(line);
  return line;
}

Result<std::optional<Mapping>> map_tools(const Context& context, ByteSource& original,
                                         const rules::Rules& rules, const std::string& name,
                                         const AskedMap& asked, const job::Job& job) {
  auto map = asked.map == "best" ? best_map(job, rules) : parse_map(asked.map);
  if (!map) return std::move(map.error());
  if (!job.uses.empty() && job.uses.front().select == job::kNone &&
      gcode::mapped(*map, job.uses.front().tool) != job.uses.front().tool) {
    return usage(asked.map,
                 "the job prints with T0 before it selects any tool: there is no line to change");
  }
  if (auto s = check_places(context, job, rules, *map, asked.force); !s) {
    return std::move(s.error());
  }
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) return std::move(recogniser.error());
  machine::FilamentMove move(rules, *recogniser, *map);
  auto lines = machine::moved_lines(original, shown_name(name), move);
  if (!lines) {
    Error& e = lines.error();
    if (e.kind == Error::Kind::usage) return usage(asked.map, e.message, e.hint);
    return std::move(e);
  }
  if (lines->empty()) {
    context.note("--map: every filament that the job uses stays where it is");
    return std::optional<Mapping>();
  }
  Mapping out;
  out.map = move.map();
  out.lines = std::move(*lines);
  out.text = std::make_unique<SplicedSource>(original, gcode::splices_of(out.lines));
  out.rules = rules.with_filaments_moved(out.map);
  for (const std::string& too_fast : rules::too_fast_sequences(out.rules)) {
    context.note("--map: " + too_fast);
  }
  out.original_bytes = job.bytes;
  out.original_hash = job.hash;
  out.loading = loading_of(move, rules);
  auto moved = scan_mapped(context, out, name);
  if (!moved) return std::move(moved.error());
  out.job = std::move(*moved);
  if (auto s = same_temperatures(job, out.job, out.map); !s) return std::move(s.error());
  return std::optional(std::move(out));
}

}  // namespace forewarm::cli
