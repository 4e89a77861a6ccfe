#include "assign/problem.h"

#include <algorithm>
#include <map>
#include <set>

namespace forewarm::assign {

namespace {

struct Tool {
  int tool;
  std::size_t head;
};

std::set<int> used_tools(const job::Job& job) {
  std::set<int> used;
  // A use before any select: the job relies on the tool that the machine begins with.
  if (!job.uses.empty() && job.uses.front().select == job::kNone) {
    used.insert(job.uses.front().tool);
  }
  for (const job::ToolChange& s : job.tool_changes) {
    if (s.kind != job::ChangeKind::park) used.insert(s.tool);
  }
  return used;
}

// Filaments that the job does not use and that stay where they are.
std::set<int> kept_tools(const rules::Rules& rules, const std::set<int>& used) {
  std::set<int> kept;
  for (const rules::Filament& f : rules.filaments) {
    if (f.fixed && !used.contains(f.tool)) kept.insert(f.tool);
  }
  return kept;
}

// The tools, ascending, but for those that a filament that the job does not use is fixed at.
std::vector<Tool> free_tools(const job::Job& job, const rules::Rules& rules,
                             const std::set<int>& used) {
  const std::set<int> kept = kept_tools(rules, used);
  std::vector<Tool> out;
  for (std::size_t h = 0; h < job.heads.size(); ++h) {
    for (const int tool : job.heads[h].tools) {
      if (!kept.contains(tool)) out.push_back({tool, h});
    }
  }
  std::sort(out.begin(), out.end(), [](const Tool& a, const Tool& b) { return a.tool < b.tool; });
  return out;
}

// The key that keeps it from there; nullptr: none.
const char* kept_by(const rules::Filament& f, const Tool& t) {
  if (f.fixed && t.tool != f.tool) return "fixed";
  if (f.only && !f.only->name(t.tool, t.head)) return "only";
  return f.never.name(t.tool, t.head) ? "never" : nullptr;
}

Status take_pairs(const rules::Matrix& matrix, Problem& q) {
  const auto missing = [&](const Filament& f, const char* what) {
    return Error{Error::Kind::rules,
                 std::string("the matrix has no ") + what + " for T" + std::to_string(f.tool) +
                     " (\"" + printable(f.name, 80) + "\"), which the job uses",
                 matrix.file, matrix.line};
  };
  const auto lists = [](const std::vector<int>& tools, int tool) {
    return std::find(tools.begin(), tools.end(), tool) != tools.end();
  };
  for (const Filament& f : q.filaments) {
    if (!lists(matrix.from, f.tool)) return missing(f, "row");
    if (!lists(matrix.to, f.tool)) return missing(f, "column");
  }
  for (const Filament& from : q.filaments) {
    for (const Filament& to : q.filaments) {
      q.pairs.push_back(matrix.cost(from.tool, to.tool).value_or(0));
    }
  }
  return success();
}

}  // namespace

Result<Problem> problem_of(const job::Job& job, const rules::Rules& rules, Problem::By by,
                           const rules::Matrix* matrix) {
  Problem q;
  q.by = by;
  q.file = rules.file;
  q.first_is_mounted = !job.uses.empty() && job.uses.front().select == job::kNone;
  const std::set<int> used = used_tools(job);
  if (used.size() > kMaxFilaments) {
    return Error{Error::Kind::refused,
                 "the job uses " + std::to_string(used.size()) + " filaments; no more than " +
                     std::to_string(kMaxFilaments) + " can be assigned",
                 job.name};
  }
  const std::vector<Tool> tools = free_tools(job, rules, used);
  // Stops count where the file tells filaments apart by them.
  const bool counts_stops = rules.gives_filament_odds();
  const double stop_s = rules.attention.notice_s + rules.attention.clear_s;
  std::map<int, int> index;
  for (const int tool : used) {
    const rules::Filament rule = rules.filament(tool);
    Filament f;
    f.tool = tool;
    f.name = rule.name;
    f.exchange_s = rule.exchange_s;
    if (counts_stops) f.exchange_stops_s = stop_s * rules::exchange_odds(rules.feeder, rule);
    f.line = rule.only || !rule.never.empty() || rule.fixed ? rule.line : 0;
    const bool stays = q.first_is_mounted && tool == job.uses.front().tool;
    for (const Tool& t : tools) {
      if (stays ? t.tool == tool : kept_by(rule, t) == nullptr) f.may.push_back(t.tool);
    }
    index.emplace(tool, int(q.filaments.size()));
    q.filaments.push_back(std::move(f));
  }
  if (q.first_is_mounted) q.sequence.push_back(index.at(job.uses.front().tool));
  for (const job::ToolChange& s : job.tool_changes) {
    q.sequence.push_back(s.kind == job::ChangeKind::park ? Problem::kPutAway : index.at(s.tool));
  }
  for (const rules::Toolhead& h : job.heads) {
    q.heads.push_back({h.name, h.tools, h.park_s, h.pick_s, h.exchange_s, h.exchange_purge_mm3,
                       counts_stops ? stop_s * h.fault_odds.value_or(0) : 0});
  }
  if (matrix != nullptr) {
    if (auto s = take_pairs(*matrix, q); !s) return std::move(s.error());
  }
  return q;
}

std::vector<BrokenPlace> broken_places(const job::Job& job, const rules::Rules& rules,
                                       const std::map<int, int>& map) {
  const std::set<int> used = used_tools(job);
  const std::set<int> kept = kept_tools(rules, used);
  std::vector<BrokenPlace> out;
  for (const auto& [from, to] : map) {
    if (from == to || !used.contains(from)) continue;
    const auto serves = [tool = to](const rules::Toolhead& h) {
      return std::find(h.tools.begin(), h.tools.end(), tool) != h.tools.end();
    };
    const auto head = std::find_if(job.heads.begin(), job.heads.end(), serves);
    const rules::Filament filament = rules.filament(from);
    const char* key = kept_by(filament, {to, std::size_t(head - job.heads.begin())});
    if (key != nullptr) out.push_back({filament, key, to, {}});
    if (kept.contains(to)) out.push_back({rules.filament(to), "fixed", to, from});
  }
  return out;
}

}  // namespace forewarm::assign
