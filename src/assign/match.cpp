#include "assign/match.h"

namespace forewarm::assign {

namespace {

constexpr int kForbidden = 1000;  // more than any number of moves
constexpr std::size_t kFree = SIZE_MAX;

class Matching {
 public:
  Matching(const Model& m, const std::vector<std::size_t>* head_of)
      : m_(m), head_of_(head_of), taken_by_(m.slots.size(), kFree) {}

  // The first filament that no augmenting path finds a slot for.
  std::optional<std::size_t> run() {
    for (std::size_t f = 0; f < m_.filaments; ++f) {
      seen_.assign(m_.slots.size(), false);
      if (!augment(f)) return f;
    }
    return std::nullopt;
  }

  // What the failed search for `f` reached: all slots there are for those filaments.
  [[nodiscard]] Crowd reached(std::size_t f) const {
    Crowd crowd;
    Mask filaments = bit(f);
    for (std::size_t s = 0; s < m_.slots.size(); ++s) {
      if (!seen_[s]) continue;
      crowd.slots.push_back(s);
      filaments |= bit(taken_by_[s]);
    }
    for (std::size_t i = 0; i < m_.filaments; ++i) {
      if ((filaments & bit(i)) != 0) crowd.filaments.push_back(i);
    }
    return crowd;
  }

 private:
  bool augment(std::size_t f) {
    const std::size_t head = head_of_ == nullptr ? kOpen : (*head_of_)[f];
    if (head != kOpen) {
      for (const std::size_t s : m_.heads[head].slots) {
        if (try_slot(f, s)) return true;
      }
      return false;
    }
    // Where it is first: most stay, and need no path then.
    if (m_.own[f] != Model::kNoSlot && try_slot(f, m_.own[f])) return true;
    for (std::size_t s = 0; s < m_.slots.size(); ++s) {
      if (try_slot(f, s)) return true;
    }
    return false;
  }

  bool try_slot(std::size_t f, std::size_t s) {
    if (seen_[s] || (m_.slots[s].may & bit(f)) == 0) return false;
    seen_[s] = true;
    if (taken_by_[s] != kFree && !augment(taken_by_[s])) return false;
    taken_by_[s] = f;
    return true;
  }

  const Model& m_;
  const std::vector<std::size_t>* head_of_;
  std::vector<std::size_t> taken_by_;
  std::vector<bool> seen_;
};

// What one toolhead's filaments cost at its slots: 0 to stay, 1 to move.
struct Table {
  std::vector<std::vector<int>> cost;
};

// The least sum of one column for each row, no column twice. REQUIRES: no more rows than columns.
int least(const Table& t) {
  const std::size_t rows = t.cost.size();
  if (rows == 0) return 0;
  const std::size_t columns = t.cost[0].size();
  std::vector<int> u(rows + 1), v(columns + 1);
  std::vector<std::size_t> row_of(columns + 1), back(columns + 1);
  for (std::size_t i = 1; i <= rows; ++i) {
    row_of[0] = i;
    std::size_t j0 = 0;
    std::vector<int> slack(columns + 1, INT32_MAX);
    std::vector<bool> done(columns + 1);
    do {
      done[j0] = true;
      const std::size_t i0 = row_of[j0];
      std::size_t j1 = 0;
      int delta = INT32_MAX;
      for (std::size_t j = 1; j <= columns; ++j) {
        if (done[j]) continue;
        const int reduced = t.cost[i0 - 1][j - 1] - u[i0] - v[j];
        if (reduced < slack[j]) {
          slack[j] = reduced;
          back[j] = j0;
        }
        if (slack[j] < delta) {
          delta = slack[j];
          j1 = j;
        }
      }
      for (std::size_t j = 0; j <= columns; ++j) {
        if (done[j]) {
          u[row_of[j]] += delta;
          v[j] -= delta;
        } else {
          slack[j] -= delta;
        }
      }
      j0 = j1;
    } while (row_of[j0] != 0);
    for (; j0 != 0; j0 = back[j0]) row_of[j0] = row_of[back[j0]];
  }
  return -v[0];
}

std::vector<std::size_t> filaments_on(const std::vector<std::size_t>& head_of, std::size_t head) {
  std::vector<std::size_t> out;
  for (std::size_t f = 0; f < head_of.size(); ++f) {
    if (head_of[f] == head) out.push_back(f);
  }
  return out;
}

Table table_of(const Model& m, std::size_t head, const std::vector<std::size_t>& filaments) {
  Table t;
  for (const std::size_t f : filaments) {
    auto& row = t.cost.emplace_back();
    for (const std::size_t s : m.heads[head].slots) {
      row.push_back((m.slots[s].may & bit(f)) == 0 ? kForbidden : s == m.own[f] ? 0 : 1);
    }
  }
  return t;
}

}  // namespace

std::optional<Crowd> find_crowd(const Model& model) {
  Matching matching(model, nullptr);
  const auto left = matching.run();
  if (!left) return std::nullopt;
  return matching.reached(*left);
}

bool fits(const Model& model, const std::vector<std::size_t>& head_of) {
  return !Matching(model, &head_of).run();
}

std::size_t fewest_moved(const Model& model, const std::vector<std::size_t>& head_of) {
  std::size_t moved = 0;
  for (std::size_t h = 0; h < model.heads.size(); ++h) {
    moved += std::size_t(least(table_of(model, h, filaments_on(head_of, h))));
  }
  return moved;
}

std::vector<std::size_t> place(const Model& model, const std::vector<std::size_t>& head_of) {
  std::vector<std::size_t> slot_of(model.filaments, Model::kNoSlot);
  for (std::size_t h = 0; h < model.heads.size(); ++h) {
    const auto filaments = filaments_on(head_of, h);
    Table t = table_of(model, h, filaments);
    const int fewest = least(t);
    // Filament by filament, the lowest tool with which the rest still comes to the fewest.
    for (std::size_t i = 0; i < filaments.size(); ++i) {
      const std::vector<int> row = t.cost[i];
      for (std::size_t j = 0; j < row.size(); ++j) {
        if (row[j] == kForbidden) continue;
        t.cost[i].assign(row.size(), kForbidden);
        t.cost[i][j] = row[j];
        if (least(t) != fewest) continue;
        slot_of[filaments[i]] = model.heads[h].slots[j];
        break;
      }
    }
  }
  return slot_of;
}

}  // namespace forewarm::assign
