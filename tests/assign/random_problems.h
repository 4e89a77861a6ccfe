// Assignment problems, made up at random, and answers found the long way: every assignment
// tried, each walked through step by step. Shares nothing with the search but its problem.
#pragma once

#include <algorithm>
#include <limits>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "assign/assign.h"

namespace forewarm::test {

using assign::Problem;

// All in units of a cost, whole: seconds or purge times a million.
struct Walked {
  long long cost = 0;
  std::uint64_t toolhead_changes = 0, exchanges = 0;
};

// The job, use by use, as a machine does it.
inline Walked walk(const Problem& q, const std::vector<int>& map) {
  std::map<int, std::size_t> head_of;
  for (std::size_t h = 0; h < q.heads.size(); ++h) {
    for (const int t : q.heads[h].tools) head_of[t] = h;
  }
  const auto units = [](double x) { return (long long)(x * 1e6 + 0.5); };
  const bool by_time = q.by == Problem::By::time;
  bool any_known = false;
  for (const auto& h : q.heads) any_known = any_known || h.exchange_purge_mm3 > 0;
  std::map<std::size_t, int> in_it;  // filament, by toolhead
  int hand = -1;                     // the toolhead that is picked
  Walked w;
  bool begun = false;
  for (const int f : q.sequence) {
    if (f < 0) {
      if (hand >= 0 && by_time) w.cost += units(q.heads[std::size_t(hand)].park_s);
      hand = -1;
      continue;
    }
    const std::size_t h = head_of.at(map[std::size_t(f)]);
    const auto& head = q.heads[h];
    if (hand != int(h)) {
      if (begun) ++w.toolhead_changes;
      if (hand >= 0 && by_time) w.cost += units(q.heads[std::size_t(hand)].park_s);
      if (by_time && (begun || !q.first_is_mounted)) {
        w.cost += units(head.pick_s) + units(head.pick_stops_s);
      }
      hand = int(h);
    }
    if (in_it.contains(h) && in_it[h] != f) {
      ++w.exchanges;
      if (by_time) {
        const auto& in = q.filaments[std::size_t(f)];
        w.cost += units(in.exchange_s ? *in.exchange_s : head.exchange_s);
        w.cost += units(in.exchange_stops_s);
      } else if (!q.pairs.empty()) {
        w.cost += units(q.pairs[std::size_t(in_it[h]) * q.filaments.size() + std::size_t(f)]);
      } else {
        w.cost += any_known ? units(head.exchange_purge_mm3) : units(1);
      }
    }
    in_it[h] = f;
    begun = true;
  }
  return w;
}

struct Best {
  long long cost = std::numeric_limits<long long>::max();
  int moved = 0;
  std::vector<int> map;
};

// Of all assignments the best: cost, then moved, then the map's own order.
inline Best enumerate(const Problem& q) {
  Best best;
  std::vector<int> map(q.filaments.size());
  const auto next = [&](const auto& self, std::size_t f) -> void {
    if (f == map.size()) {
      const long long cost = walk(q, map).cost;
      int moved = 0;
      for (std::size_t i = 0; i < map.size(); ++i) moved += map[i] != q.filaments[i].tool;
      if (best.map.empty() ||
          std::tie(cost, moved, map) < std::tie(best.cost, best.moved, best.map)) {
        best = {cost, moved, map};
      }
      return;
    }
    for (const auto& head : q.heads) {
      for (const int t : head.tools) {
        const auto& may = q.filaments[f].may;
        if (std::find(may.begin(), may.end(), t) == may.end()) continue;
        if (std::find(map.begin(), map.begin() + std::ptrdiff_t(f), t) !=
            map.begin() + std::ptrdiff_t(f)) {
          continue;
        }
        map[f] = t;
        self(self, f + 1);
      }
    }
  };
  next(next, 0);
  return best;
}

// What random problems are like.
struct Likes {
  int most_filaments = 6, most_tools = 7, most_heads = 4, most_uses = 40;
};

inline Problem random_problem(std::mt19937& random, const Likes& likes) {
  const auto up_to = [&](int most) { return int(random() % std::uint32_t(most + 1)); };
  Problem q;
  const int tools = 1 + up_to(likes.most_tools - 1);
  const int heads = std::min(tools, 1 + up_to(likes.most_heads - 1));
  const int filaments = std::min(tools, 1 + up_to(likes.most_filaments - 1));
  const bool even = up_to(2) == 0;  // equal toolheads: ties
  for (int h = 0; h < heads; ++h) {
    const double t = even ? 5 : 0.5 * up_to(40);
    q.heads.push_back({"head " + std::to_string(h),
                       {},
                       t,
                       even ? 7 : 0.25 * up_to(60),
                       even ? 30 : 1.5 * up_to(40),
                       even ? 90 : double(1 + up_to(200))});
  }
  // T numbers with holes, in no order, dealt to the toolheads.
  std::vector<int> numbers;
  for (int t = 0; t < tools; ++t) numbers.push_back(2 * t + up_to(1));
  std::shuffle(numbers.begin(), numbers.end(), random);
  for (int t = 0; t < tools; ++t) {
    const int head = t < heads ? t : up_to(heads - 1);
    q.heads[std::size_t(head)].tools.push_back(numbers[std::size_t(t)]);
  }
  std::vector<int> places = numbers;
  std::shuffle(places.begin(), places.end(), random);
  places.resize(std::size_t(filaments));
  std::sort(places.begin(), places.end());
  const int kind = up_to(3);  // how bound they are
  for (const int tool : places) {
    assign::Filament f{tool, "filament of T" + std::to_string(tool), {}, 0};
    for (const int t : numbers) {
      const bool fixed = kind == 3 && tool % 5 == 0;
      if (fixed ? t == tool : kind == 0 || up_to(2) > 0) f.may.push_back(t);
    }
    if (f.may.empty()) f.may.push_back(numbers[0]);
    q.filaments.push_back(std::move(f));
  }
  const int uses = up_to(likes.most_uses);
  const bool layers = up_to(1) == 0;  // the same few again and again, as layers have it
  for (int i = 0; i < uses; ++i) {
    const int f = layers && i >= filaments && up_to(5) > 0 ? q.sequence[std::size_t(i - filaments)]
                                                           : up_to(filaments - 1);
    q.sequence.push_back(up_to(15) == 0 ? Problem::kPutAway : f);
  }
  q.first_is_mounted = up_to(3) == 0 && !q.sequence.empty() && q.sequence[0] >= 0;
  q.by = up_to(1) == 0 ? Problem::By::time : Problem::By::purge;
  const int purge = up_to(2);  // a matrix, what toolheads say, or nothing known
  if (purge == 0) {
    for (int i = 0; i < filaments * filaments; ++i) q.pairs.push_back(0.125 * up_to(400));
  } else if (purge == 1) {
    for (auto& h : q.heads) h.exchange_purge_mm3 = 0;
  }
  if (up_to(1) == 0) return q;
  // Paths of different lengths, and stops that cost.
  for (auto& h : q.heads) h.pick_stops_s = 0.25 * up_to(8);
  for (auto& f : q.filaments) {
    if (up_to(1) == 0) f.exchange_s = 1.5 * up_to(40);
    if (up_to(1) == 0) f.exchange_stops_s = 0.125 * up_to(80);
  }
  return q;
}

}  // namespace forewarm::test
