#include "assign/search.h"

#include <limits>

#include "assign/match.h"

namespace forewarm::assign {

namespace {

constexpr Cost kNever = std::numeric_limits<Cost>::max() / 4;

class Search {
 public:
  Search(const Model& m, std::uint64_t most_steps)
      : m_(m),
        most_steps_(most_steps),
        head_of_(m.filaments, kOpen),
        on_(m.heads.size()),
        room_(m.heads.size()) {
    for (std::size_t h = 0; h < m.heads.size(); ++h) room_[h] = m.heads[h].slots.size();
  }

  Found run() {
    start();
    improve(most_steps_ / 4);
    const Node root = look();
    if (root.bound < best_) descend(root);
    if (stopped_)
      improve(steps_ + most_steps_ / 4);  // what was found last may be near a better one
    Found found;
    found.slot_of = place(m_, best_heads_);
    found.cost = best_ / kMovedBase;
    // What was left open may be no better than what was found after.
    found.optimal = !stopped_ || least_open_ >= best_;
    found.lower_bound = (found.optimal ? best_ : least_open_) / kMovedBase;
    return found;
  }

 private:
  // What is known with some filaments placed.
  struct Node {
    Cost bound = 0;                        // of all that can come of it
    std::vector<std::vector<Cost>> share;  // [open filament][toolhead]: at least, of its own
    std::vector<Cost> least;               // the cheapest of those
  };

  // With the number of moved as the last digit; kNever if it does not fit, or cannot be better.
  Cost value(const std::vector<std::size_t>& heads) {
    steps_ += m_.situations.size();
    const Cost cost = m_.cost(heads) * kMovedBase;
    if (cost >= best_) return kNever;
    steps_ += m_.filaments * m_.slots.size();
    if (!fits(m_, heads)) return kNever;
    return cost + Cost(fewest_moved(m_, heads));
  }

  bool take_if_better(const std::vector<std::size_t>& heads) {
    const Cost v = value(heads);
    if (v >= best_) return false;
    best_ = v;
    best_heads_ = heads;
    return true;
  }

  // Where the filaments are, if they may be there; else anywhere that they fit.
  void start() {
    if (std::find(m_.own.begin(), m_.own.end(), Model::kNoSlot) == m_.own.end() &&
        take_if_better(m_.own_head)) {
      return;
    }
    std::vector<std::size_t> heads(m_.filaments, kOpen);
    for (std::size_t f = 0; f < m_.filaments; ++f) {
      for (std::size_t h = 0; h < m_.heads.size(); ++h) {
        heads[f] = h;
        if ((m_.heads[h].may & bit(f)) != 0 && fits(m_, heads)) break;
      }
    }
    best_ = value(heads);
    best_heads_ = heads;
  }

  // Moves and swaps, as long as one helps: the better the first answer, the less there is to
  // search.
  void improve(std::uint64_t until) {
    for (bool better = true; better && steps_ < until;) {
      better = false;
      for (std::size_t f = 0; f < m_.filaments && steps_ < until; ++f) {
        for (std::size_t h = 0; h < m_.heads.size(); ++h) {
          if (h == best_heads_[f] || (m_.heads[h].may & bit(f)) == 0) continue;
          auto heads = best_heads_;
          heads[f] = h;
          if (take_if_better(heads)) better = true;
        }
        for (std::size_t g = f + 1; g < m_.filaments; ++g) {
          if (best_heads_[f] == best_heads_[g]) continue;
          auto heads = best_heads_;
          std::swap(heads[f], heads[g]);
          if (take_if_better(heads)) better = true;
        }
      }
    }
  }

  [[nodiscard]] bool open(std::size_t f) const { return head_of_[f] == kOpen; }
  [[nodiscard]] bool may_take(std::size_t f, std::size_t h) const {
    return room_[h] > 0 && (m_.heads[h].may & bit(f)) != 0;
  }
  // An exchange, where it is known only that there is one.
  [[nodiscard]] Cost some_exchange(const Situation& s, std::size_t h) const {
    if ((s.among & on_[h]) == 0) return 0;
    return m_.pairs.empty() ? m_.incoming_exchange(h, s.filament) : s.least;
  }
  // The situation's filament on h, what was used right before on another toolhead.
  [[nodiscard]] Cost apart(const Situation& s, std::size_t h, Cost park) const {
    return park + m_.heads[h].pick + some_exchange(s, h);
  }

  Node look() {
    const std::size_t n = m_.filaments;
    const std::size_t heads = m_.heads.size();
    Node node;
    node.share.assign(n, std::vector<Cost>(heads, kNever));
    node.least.assign(n, 0);
    // The cheapest and the next toolhead of each open filament to put away.
    std::vector<std::size_t> cheapest(n, kOpen), next(n, kOpen);
    for (std::size_t f = 0; f < n; ++f) {
      for (std::size_t h = 0; h < heads; ++h) {
        if (!open(f) && head_of_[f] != h) continue;
        if (open(f) && !may_take(f, h)) continue;
        const Cost own = m_.taken[f] * m_.heads[h].pick + m_.put[f] * m_.heads[h].park;
        const bool moved = m_.own[f] == Model::kNoSlot || m_.own_head[f] != h;
        node.share[f][h] = own * kMovedBase + (moved ? 1 : 0);
        if (cheapest[f] == kOpen || m_.heads[h].park < m_.heads[cheapest[f]].park) {
          next[f] = cheapest[f];
          cheapest[f] = h;
        } else if (next[f] == kOpen || m_.heads[h].park < m_.heads[next[f]].park) {
          next[f] = h;
        }
      }
    }
    steps_ += m_.situations.size() * heads + n * m_.slots.size();
    for (const Situation& s : m_.situations) add(s, node, cheapest, next);
    for (std::size_t f = 0; f < n; ++f) {
      node.least[f] = *std::min_element(node.share[f].begin(), node.share[f].end());
      node.bound = std::min(kNever, node.bound + node.least[f]);
    }
    return node;
  }

  // Lays what a situation costs at least to a filament that decides it.
  void add(const Situation& s, Node& node, const std::vector<std::size_t>& cheapest,
           const std::vector<std::size_t>& next) const {
    const std::size_t f = s.filament;
    const Cost times = s.count * kMovedBase;
    const std::size_t before = s.since[0];
    if (!open(f)) {
      const std::size_t h = head_of_[f];
      if (!s.adjacent || !open(before)) {
        node.share[f][h] += times * known(s, h);
        return;
      }
      for (std::size_t g = 0; g < m_.heads.size(); ++g) {
        if (node.share[before][g] >= kNever) continue;
        node.share[before][g] +=
            times * (g == h ? m_.exchange(h, before, f) : apart(s, h, m_.heads[g].park));
      }
      return;
    }
    for (std::size_t h = 0; h < m_.heads.size(); ++h) {
      Cost& share = node.share[f][h];
      if (share >= kNever) continue;
      if (!s.adjacent || !open(before)) {
        share += times * known(s, h);
        continue;
      }
      const std::size_t elsewhere = cheapest[before] == h ? next[before] : cheapest[before];
      Cost cost = kNever;
      if (node.share[before][h] < kNever && room_[h] > 1) cost = m_.exchange(h, before, f);
      if (elsewhere != kOpen) cost = std::min(cost, apart(s, h, m_.heads[elsewhere].park));
      share = cost >= kNever ? kNever : share + times * cost;
    }
  }

  // The situation's filament on h, and what was used right before placed, or nothing.
  [[nodiscard]] Cost known(const Situation& s, std::size_t h) const {
    if (!s.adjacent) return some_exchange(s, h);
    const std::size_t g = head_of_[s.since[0]];
    return g == h ? m_.exchange(h, s.since[0], s.filament) : apart(s, h, m_.heads[g].park);
  }

  void descend(const Node& node) {
    const std::size_t f = most_decisive(node);
    if (f == kOpen) {
      (void)take_if_better(head_of_);
      return;
    }
    struct Child {
      Cost bound;
      std::size_t head;
    };
    std::vector<Child> children;
    for (std::size_t h = 0; h < m_.heads.size(); ++h) {
      if (node.share[f][h] >= kNever) continue;
      children.push_back({node.bound - node.least[f] + node.share[f][h], h});
    }
    std::stable_sort(children.begin(), children.end(),
                     [](const Child& a, const Child& b) { return a.bound < b.bound; });
    for (const Child& c : children) {
      if (c.bound >= best_) break;
      if (steps_ >= most_steps_) {
        stopped_ = true;
        least_open_ = std::min(least_open_, c.bound);
        break;
      }
      head_of_[f] = c.head;
      on_[c.head] |= bit(f);
      --room_[c.head];
      if (fits(m_, head_of_)) {
        const Node below = look();
        if (below.bound < best_) descend(below);
      }
      ++room_[c.head];
      on_[c.head] &= ~bit(f);
      head_of_[f] = kOpen;
    }
  }

  // The open filament whose second choice costs the most more than its first.
  [[nodiscard]] std::size_t most_decisive(const Node& node) const {
    std::size_t best = kOpen;
    Cost most = -1;
    for (std::size_t f = 0; f < m_.filaments; ++f) {
      if (!open(f)) continue;
      Cost second = kNever;
      bool first = true;
      for (const Cost c : node.share[f]) {
        if (first && c == node.least[f]) {
          first = false;
        } else {
          second = std::min(second, c);
        }
      }
      if (second - node.least[f] > most) {
        most = second - node.least[f];
        best = f;
      }
    }
    return best;
  }

  const Model& m_;
  std::uint64_t most_steps_;
  std::uint64_t steps_ = 0;
  std::vector<std::size_t> head_of_;
  std::vector<Mask> on_;           // filaments placed on each toolhead
  std::vector<std::size_t> room_;  // its slots less those
  Cost best_ = kNever;
  std::vector<std::size_t> best_heads_;
  Cost least_open_ = kNever;
  bool stopped_ = false;
};

}  // namespace

Found by_search(const Model& model, std::uint64_t most_steps) {
  return Search(model, most_steps).run();
}

}  // namespace forewarm::assign
