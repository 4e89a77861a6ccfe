#include "assign/subsets.h"

#include <limits>

namespace forewarm::assign {

namespace {

__extension__ using Wide = unsigned __int128;
constexpr std::size_t kWideBits = 128;
constexpr std::size_t kMaxBySubsets = 24;  // 16 million sets

using Set = std::uint32_t;

constexpr Cost kNever = std::numeric_limits<Cost>::max();

// Cost, then moved filaments (its last digit in base kMovedBase), then the map as a number whose
// digits are slots, the first filament's first: all three add up over toolheads.
struct Value {
  Cost cost = kNever;
  Wide map = 0;
  [[nodiscard]] bool possible() const { return cost != kNever; }
};
bool better(Cost cost, Wide map, const Value& than) {
  return cost < than.cost || (cost == than.cost && map < than.map);
}

std::size_t digit_bits(const Model& m) { return std::size_t(std::bit_width(m.slots.size())); }

// So many filaments have to be on this toolhead, as the others cannot take them.
std::size_t fewest_on(const Model& m, std::size_t head) {
  const std::size_t others = m.slots.size() - m.heads[head].slots.size();
  return m.filaments > others ? m.filaments - others : 0;
}

class Subsets {
 public:
  explicit Subsets(const Model& m)
      : m_(m), n_(m.filaments), all_((Set{1} << n_) - 1), bits_(digit_bits(m)) {
    exchanges();
    moves();
  }

  std::vector<std::size_t> run() {
    // The costliest toolheads first and last: those need no pairs of sets.
    std::vector<std::size_t> order(m_.heads.size());
    for (std::size_t h = 0; h < order.size(); ++h) order[h] = h;
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return m_.heads[a].slots.size() > m_.heads[b].slots.size();
    });
    if (order.size() > 2) std::rotate(order.begin() + 1, order.begin() + 2, order.end());
    std::vector<Value> best = on(order.front());
    for (std::size_t k = 1; k < order.size(); ++k) {
      add(best, on(order[k]), fewest_on(m_, order[k]), k + 1 == order.size());
    }
    return slots_of(best[all_].map);
  }

 private:
  // exchanges_[S]: what the exchanges of S on one toolhead cost, or how many they are that cost
  // what the toolhead says; incoming_[S]: what they cost by the filaments that come in.
  //
  // With C the filaments not in S, filament f of S finds a_k in its toolhead, the k-th latest,
  // where all of a_1 .. a_(k-1) are in C, but not all of a_1 .. a_k. So it adds w(a_k, f) for the
  // subset {a_1 .. a_(k-1)} of C and takes it away again for {a_1 .. a_k}.
  void exchanges() {
    exchanges_.assign(std::size_t{all_} + 1, 0);
    incoming_.assign(std::size_t{all_} + 1, 0);
    std::vector<Cost> sums;
    for (std::size_t f = 0; f < n_; ++f) {
      sums.assign(std::size_t{all_} + 1, 0);
      bool any = false;
      for (const Situation& s : m_.situations) {
        if (s.filament != f) continue;
        any = true;
        Set before = 0;
        for (const std::size_t a : s.since) {
          const Cost cost = s.count * (m_.pairs.empty() ? 1 : m_.pairs[a * n_ + f]);
          sums[before] += cost;
          before |= Set(bit(a));
          sums[before] -= cost;
        }
      }
      if (!any) continue;
      for (std::size_t a = 0; a < n_; ++a) {
        const Set one = Set(bit(a));
        for (Set c = one; c <= all_; c = (c + 1) | one) sums[c] += sums[c ^ one];
      }
      const Set one = Set(bit(f));
      const bool by_head = !m_.pairs.empty() || m_.adds_head[f] != 0;
      const Cost own = m_.pairs.empty() ? m_.incoming[f] : 0;
      for (Set s = one; s <= all_; s = (s + 1) | one) {
        const Cost sum = sums[all_ & ~s];
        if (by_head) exchanges_[s] += sum;
        incoming_[s] += sum * own;
      }
    }
  }

  // picks_[S], parks_[S]: how often the toolhead with S on it is picked and put away.
  void moves() {
    std::vector<Cost> next(n_ * n_);  // [a, b]: b is used right after a
    std::vector<Cost> picks = m_.taken, parks = m_.put;
    for (const Situation& s : m_.situations) {
      if (!s.adjacent) continue;
      next[s.since[0] * n_ + s.filament] += s.count;
      picks[s.filament] += s.count;
      parks[s.since[0]] += s.count;
    }
    picks_.assign(std::size_t{all_} + 1, 0);
    parks_.assign(std::size_t{all_} + 1, 0);
    for (Set s = 1; s != 0 && s <= all_; ++s) {
      const auto f = std::size_t(std::countr_zero(s));
      const Set rest = s & (s - 1);
      Cost within = 0;
      for (Set r = rest; r != 0; r &= r - 1) {
        const auto a = std::size_t(std::countr_zero(r));
        within += next[a * n_ + f] + next[f * n_ + a];
      }
      picks_[s] = picks_[rest] + picks[f] - within;
      parks_[s] = parks_[rest] + parks[f] - within;
    }
  }

  // The best for each set on this toolhead: which tool each filament takes, slot by slot.
  [[nodiscard]] std::vector<Value> on(std::size_t head) const {
    const Model::Head& h = m_.heads[head];
    std::vector<Value> out(std::size_t{all_} + 1);
    out[0] = {0, 0};
    int slots = 0;
    for (const std::size_t slot : h.slots) {
      ++slots;
      const Set may = Set(m_.slots[slot].may);
      for (Set s = all_; s != 0; --s) {  // the smaller sets are as they were before this slot
        if (std::popcount(s) > slots) continue;
        for (Set r = s & may; r != 0; r &= r - 1) {
          const auto f = std::size_t(std::countr_zero(r));
          const Value& rest = out[s ^ Set(bit(f))];
          if (!rest.possible()) continue;
          const Cost cost = rest.cost + (m_.own[f] == slot ? 0 : 1);
          const Wide map = rest.map + (Wide{slot} << (bits_ * (n_ - 1 - f)));
          if (better(cost, map, out[s])) out[s] = {cost, map};
        }
      }
    }
    for (Set s = all_; s != 0; --s) {
      if (!out[s].possible()) continue;
      const Cost exchange = m_.pairs.empty() ? h.exchange : 1;
      out[s].cost += kMovedBase * (exchanges_[s] * exchange + incoming_[s] + picks_[s] * h.pick +
                                   parks_[s] * h.park);
    }
    return out;
  }

  void add(std::vector<Value>& best, const std::vector<Value>& more, std::size_t fewest,
           bool last) const {
    std::vector<Value> sum = best;
    for (Set t = 1; t != 0 && t <= all_; ++t) {
      if (!more[t].possible() || std::size_t(std::popcount(t)) < fewest) continue;
      const Set others = all_ & ~t;
      for (Set r = others;; r = (r - 1) & others) {
        if (best[r].possible()) {
          const Cost cost = best[r].cost + more[t].cost;
          Value& into = sum[r | t];
          if (cost <= into.cost) {
            const Wide map = best[r].map + more[t].map;
            if (better(cost, map, into)) into = {cost, map};
          }
        }
        if (r == 0 || last) break;
      }
    }
    best = std::move(sum);
  }

  [[nodiscard]] std::vector<std::size_t> slots_of(Wide map) const {
    std::vector<std::size_t> out(n_);
    for (std::size_t f = 0; f < n_; ++f) {
      out[f] = std::size_t(map >> (bits_ * (n_ - 1 - f))) & ((std::size_t{1} << bits_) - 1);
    }
    return out;
  }

  const Model& m_;
  std::size_t n_;
  Set all_;
  std::size_t bits_;  // of a digit of a map
  std::vector<Cost> exchanges_, incoming_, picks_, parks_;
};

}  // namespace

std::uint64_t subset_steps(const Model& m) {
  const std::size_t n = m.filaments;
  if (n > kMaxBySubsets || n * digit_bits(m) > kWideBits) return UINT64_MAX;
  std::vector<double> of_head;
  double steps = double(n) * double(n) * double(std::uint64_t{1} << n);
  for (std::size_t i = 0; i < m.heads.size(); ++i) {
    const Model::Head& h = m.heads[i];
    const std::size_t fewest = fewest_on(m, i);
    const auto may = std::size_t(std::popcount(h.may));
    double choose = 1;  // sets of k filaments that could be on it
    double sum = 0;
    for (std::size_t k = 1; k <= std::min(may, h.slots.size()); ++k) {
      choose = choose * double(may - k + 1) / double(k);
      if (k >= fewest) sum += choose * double(std::uint64_t{1} << (n - k));
    }
    of_head.push_back(sum);
    steps += double(h.slots.size() * n) * double(std::uint64_t{1} << n) / 2;
  }
  std::sort(of_head.begin(), of_head.end());
  for (std::size_t i = 0; i + 2 < of_head.size(); ++i) steps += of_head[i];
  return steps < 1e18 ? std::uint64_t(steps) : std::uint64_t(1e18);
}

std::vector<std::size_t> by_subsets(const Model& model) {
  if (model.filaments == 0) return {};
  return Subsets(model).run();
}

}  // namespace forewarm::assign
