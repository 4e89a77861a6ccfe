#include "assign/model.h"

#include <cmath>
#include <map>
#include <set>

#include "assign/match.h"

namespace forewarm::assign {

namespace {

constexpr std::size_t kNamesShown = 5;

Cost whole(double value) { return std::llround(value / kCostUnit); }

// Two tools of a toolhead that admit the same filaments, and are nobody's place, are as good as
// each other: of each kind no more are looked at than there are filaments, lowest T number first.
void add_slots(const Problem& q, Model& m) {
  struct Tool {
    int tool;
    std::size_t head;
  };
  std::vector<Tool> tools;
  for (std::size_t h = 0; h < q.heads.size(); ++h) {
    for (const int tool : q.heads[h].tools) tools.push_back({tool, h});
  }
  std::sort(tools.begin(), tools.end(),
            [](const Tool& a, const Tool& b) { return a.tool < b.tool; });
  std::map<int, Mask> may;
  std::map<int, std::size_t> at_home;
  for (std::size_t f = 0; f < m.filaments; ++f) {
    for (const int tool : q.filaments[f].may) may[tool] |= bit(f);
    at_home.emplace(q.filaments[f].tool, f);
  }
  m.own.assign(m.filaments, Model::kNoSlot);
  m.own_head.assign(m.filaments, Model::kNoSlot);
  std::map<std::pair<std::size_t, Mask>, std::size_t> of_kind;
  for (const Tool& t : tools) {
    const auto home = at_home.find(t.tool);
    if (home != at_home.end()) m.own_head[home->second] = t.head;
    const auto admits = may.find(t.tool);
    if (admits == may.end()) continue;
    const bool homely = home != at_home.end() && (admits->second & bit(home->second)) != 0;
    if (!homely && ++of_kind[{t.head, admits->second}] > m.filaments) continue;
    if (homely) m.own[home->second] = m.slots.size();
    m.heads[t.head].may |= admits->second;
    m.heads[t.head].slots.push_back(m.slots.size());
    m.slots.push_back({t.tool, t.head, admits->second});
  }
}

// Each situation of the job once.
void add_situations(const Problem& q, Model& m) {
  m.taken.assign(m.filaments, 0);
  m.put.assign(m.filaments, 0);
  std::map<std::string, Cost> counts;
  std::string recent;  // filaments used so far, latest first
  std::string key;
  int mounted = Problem::kPutAway;
  bool first = true;
  for (const int next : q.sequence) {
    if (next == mounted) continue;
    if (next == Problem::kPutAway) {
      ++m.put[std::size_t(mounted)];
      mounted = next;
      continue;
    }
    const char f = static_cast<char>(next);
    const bool adjacent = mounted != Problem::kPutAway;
    if (!adjacent && !(first && q.first_is_mounted)) ++m.taken[std::size_t(next)];
    const auto before = std::find(recent.begin(), recent.end(), f);
    key = {f, static_cast<char>(adjacent)};
    key.append(recent.begin(), before);
    if (key.size() > 2) ++counts[key];
    if (before != recent.end()) recent.erase(before);
    recent.insert(recent.begin(), f);
    mounted = next;
    first = false;
  }
  for (const auto& [k, count] : counts) {
    Situation s;
    s.filament = std::uint8_t(k[0]);
    s.adjacent = k[1] != 0;
    s.since.assign(k.begin() + 2, k.end());
    s.count = count;
    for (const std::size_t f : s.since) s.among |= bit(f);
    if (!m.pairs.empty()) {
      s.least = kMaxCost;
      for (const std::size_t f : s.since) {
        s.least = std::min(s.least, m.pairs[f * m.filaments + s.filament]);
      }
    }
    m.situations.push_back(std::move(s));
  }
}

Status add_costs(const Problem& q, Model& m) {
  const bool by_time = q.by == Problem::By::time;
  const bool known = std::any_of(q.heads.begin(), q.heads.end(),
                                 [](const Toolhead& h) { return h.exchange_purge_mm3 > 0; });
  Cost most = 0;
  for (std::size_t h = 0; h < q.heads.size(); ++h) {
    const Toolhead& from = q.heads[h];
    Model::Head& to = m.heads[h];
    if (by_time) {
      to.park = whole(from.park_s);
      to.pick = whole(from.pick_s) + whole(from.pick_stops_s);
      to.exchange = whole(from.exchange_s);
    } else if (q.pairs.empty()) {
      if (known && from.exchange_purge_mm3 <= 0 && from.tools.size() > 1) {
        return Error{Error::Kind::rules,
                     "exchange_purge_mm3 is known of some toolheads, but not of \"" +
                         printable(from.name, 80) + '"',
                     q.file,
                     0,
                     0,
                     "",
                     "give it to each toolhead with a feeder, or a matrix"};
      }
      to.exchange = known ? whole(from.exchange_purge_mm3) : whole(1);
    }
    most = std::max(most, to.park + to.pick + to.exchange);
  }
  m.incoming.assign(m.filaments, 0);
  m.adds_head.assign(m.filaments, 1);
  if (by_time) {
    Cost most_incoming = 0;
    for (std::size_t f = 0; f < m.filaments; ++f) {
      const Filament& from = q.filaments[f];
      m.incoming[f] = whole(from.exchange_s.value_or(0)) + whole(from.exchange_stops_s);
      m.adds_head[f] = from.exchange_s ? 0 : 1;
      most_incoming = std::max(most_incoming, m.incoming[f]);
    }
    most += most_incoming;
  } else {
    for (const double p : q.pairs) m.pairs.push_back(whole(p));
    for (const Cost c : m.pairs) most = std::max(most, c);
  }
  if (double(most) * double(q.sequence.size()) < double(kMaxCost)) return success();
  return Error{Error::Kind::refused, "the changes of this job cost more than can be added up",
               q.file};
}

std::string tools_of(const Model& m, const std::vector<std::size_t>& slots) {
  std::string out;
  for (std::size_t i = 0; i < slots.size() && i < kNamesShown; ++i) {
    out += (i == 0 ? "T" : ", T") + std::to_string(m.slots[slots[i]].tool);
  }
  return out + (slots.size() > kNamesShown ? " ..." : "");
}

// More filaments than tools for them, somewhere.
Error crowded(const Problem& q, const Model& m, const Crowd& crowd) {
  Error e{Error::Kind::rules, "", q.file};
  std::string names;
  for (std::size_t i = 0; i < crowd.filaments.size(); ++i) {
    const Filament& f = q.filaments[crowd.filaments[i]];
    if (i < kNamesShown) {
      names += (i == 0 ? "" : ", ") + ('"' + printable(f.name, 80)) + "\" (T" +
               std::to_string(f.tool) + ')';
    } else if (i == kNamesShown) {
      names += " ...";
    }
    if (e.line == 0) e.line = f.line;
  }
  std::size_t tools = 0;
  for (const Toolhead& h : q.heads) tools += h.tools.size();
  if (m.filaments > tools) {
    e.kind = Error::Kind::refused;
    e.line = 0;
    e.message = "the job uses " + std::to_string(m.filaments) + " filaments, and the machine has " +
                std::to_string(tools) + (tools == 1 ? " tool" : " tools");
    e.hint = "add tools to a [[toolhead]] in the rule file";
  } else if (crowd.slots.empty()) {
    e.message = names + " may be at no tool that is free";
    e.hint = "see `only`, `never` and `fixed` in the rule file";
  } else {
    e.message = std::to_string(crowd.filaments.size()) + " filaments have " +
                std::to_string(crowd.slots.size()) +
                (crowd.slots.size() == 1 ? " tool" : " tools") + " where they may be: " + names +
                " at " + tools_of(m, crowd.slots);
    e.hint = "see their `only`, `never` and `fixed` in the rule file";
  }
  return e;
}

}  // namespace

Cost Model::cost(const std::vector<std::size_t>& head_of) const {
  std::vector<Mask> on(heads.size());
  Cost sum = 0;
  for (std::size_t f = 0; f < filaments; ++f) {
    on[head_of[f]] |= bit(f);
    sum += taken[f] * heads[head_of[f]].pick + put[f] * heads[head_of[f]].park;
  }
  for (const Situation& s : situations) {
    const std::size_t h = head_of[s.filament];
    if (s.adjacent && head_of[s.since[0]] != h) {
      sum += s.count * (heads[head_of[s.since[0]]].park + heads[h].pick);
    }
    if ((s.among & on[h]) == 0) continue;
    if (pairs.empty()) {
      sum += s.count * incoming_exchange(h, s.filament);
    } else {
      const auto in = std::find_if(s.since.begin(), s.since.end(),
                                   [&](std::size_t f) { return (on[h] & bit(f)) != 0; });
      sum += s.count * exchange(h, *in, s.filament);
    }
  }
  return sum;
}

Result<Model> model_of(const Problem& q) {
  if (q.filaments.size() > kMaxFilaments) {
    return Error{Error::Kind::refused, "the job uses " + std::to_string(q.filaments.size()) +
                                           " filaments; no more than " +
                                           std::to_string(kMaxFilaments) + " can be assigned"};
  }
  Model m;
  m.filaments = q.filaments.size();
  m.heads.resize(q.heads.size());
  if (auto s = add_costs(q, m); !s) return std::move(s.error());
  add_slots(q, m);
  if (const auto crowd = find_crowd(m)) return crowded(q, m, *crowd);
  add_situations(q, m);
  return m;
}

}  // namespace forewarm::assign
