#include "assign/assign.h"

#include "assign/match.h"
#include "assign/model.h"
#include "assign/search.h"
#include "assign/subsets.h"

namespace forewarm::assign {

namespace {

// However long it takes, which is seconds, at most, with any machine there is.
constexpr std::size_t kAlwaysBySubsets = 16;

std::size_t head_of_tool(const Problem& q, int tool) {
  for (std::size_t h = 0; h < q.heads.size(); ++h) {
    const auto& tools = q.heads[h].tools;
    if (std::find(tools.begin(), tools.end(), tool) != tools.end()) return h;
  }
  return kOpen;
}

}  // namespace

Figures figures_of(const Problem& q, const std::vector<int>& map) {
  std::vector<std::size_t> head_of;
  for (const int tool : map) head_of.push_back(head_of_tool(q, tool));
  std::vector<int> loaded(q.heads.size(), -1);
  std::vector<std::uint64_t> parked(q.heads.size()), picked(q.heads.size()),
      exchanged(q.heads.size());
  // Added up by kind, so that no rounding depends on the order.
  std::vector<std::uint64_t> brought_in(q.filaments.size());
  Figures out;
  double purge = 0;
  bool purge_known = true;
  std::size_t mounted = kOpen;
  bool first = true;
  for (const int f : q.sequence) {
    if (f == Problem::kPutAway) {
      if (mounted != kOpen) ++parked[mounted];
      mounted = kOpen;
      continue;
    }
    const std::size_t head = head_of[std::size_t(f)];
    if (mounted != head) {
      if (mounted != kOpen) ++parked[mounted];
      if (!first || !q.first_is_mounted) ++picked[head];
      if (!first) ++out.toolhead_changes;
    }
    const int before = loaded[head];
    if (before >= 0 && before != f) {
      if (!q.filaments[std::size_t(f)].exchange_s) ++exchanged[head];
      ++brought_in[std::size_t(f)];
      ++out.filament_changes;
      if (!q.pairs.empty()) {
        purge += q.pairs[std::size_t(before) * q.filaments.size() + std::size_t(f)];
      } else {
        purge += q.heads[head].exchange_purge_mm3;
        purge_known = purge_known && q.heads[head].exchange_purge_mm3 > 0;
      }
    }
    loaded[head] = f;
    mounted = head;
    first = false;
  }
  for (std::size_t h = 0; h < q.heads.size(); ++h) {
    out.exchange_s += double(exchanged[h]) * q.heads[h].exchange_s;
    out.change_s += double(parked[h]) * q.heads[h].park_s + double(picked[h]) * q.heads[h].pick_s;
    out.stops_s += double(picked[h]) * q.heads[h].pick_stops_s;
  }
  for (std::size_t f = 0; f < q.filaments.size(); ++f) {
    out.exchange_s += double(brought_in[f]) * q.filaments[f].exchange_s.value_or(0);
    out.stops_s += double(brought_in[f]) * q.filaments[f].exchange_stops_s;
  }
  out.change_s += out.exchange_s;
  if (purge_known) out.purge = purge;
  return out;
}

Result<Assignment> solve(const Problem& q) {
  auto made = model_of(q);
  if (!made) return std::move(made.error());
  const Model& model = *made;
  Found found;
  Assignment out;
  const std::uint64_t steps = subset_steps(model);
  const bool by_subsets_anyway =
      model.filaments <= std::min(kAlwaysBySubsets, q.most_by_subsets) && steps != UINT64_MAX;
  if (by_subsets_anyway || (model.filaments <= q.most_by_subsets && steps <= q.most_steps)) {
    found.slot_of = by_subsets(model);
    std::vector<std::size_t> head_of;
    for (const std::size_t slot : found.slot_of) head_of.push_back(model.slots[slot].head);
    found.cost = found.lower_bound = model.cost(head_of);
    found.optimal = true;
    out.proved_by = Proof::subsets;
  } else {
    found = by_search(model, q.most_steps / 4);  // its steps are longer
    out.proved_by = found.optimal ? Proof::bound : Proof::none;
  }
  std::vector<int> now;
  for (std::size_t f = 0; f < model.filaments; ++f) {
    out.map.push_back(model.slots[found.slot_of[f]].tool);
    now.push_back(q.filaments[f].tool);
    if (out.map[f] != now[f]) ++out.moved;
    if (model.own[f] == Model::kNoSlot) out.baseline_allowed = false;
  }
  out.optimal = found.optimal;
  out.cost = double(found.cost) * kCostUnit;
  out.lower_bound = double(found.lower_bound) * kCostUnit;
  out.baseline = figures_of(q, now);
  out.best = figures_of(q, out.map);
  return out;
}

}  // namespace forewarm::assign
