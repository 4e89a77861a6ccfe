#include "assign/assign.h"

#include <catch2/catch.hpp>
#include <set>

#include "random_problems.h"

using namespace forewarm;
using namespace forewarm::test;
using assign::Assignment;
using assign::Proof;

namespace {

std::string text_of(const std::vector<int>& map) {
  std::string out;
  for (const int t : map) out += (out.empty() ? "" : " ") + std::to_string(t);
  return out;
}

std::string said(const Result<Assignment>& a) { return a ? "accepted" : render(a.error()); }

// The figures as one string, to compare.
std::string figures(const assign::Figures& f) {
  char buffer[160];
  std::snprintf(buffer, sizeof buffer, "%llu toolhead, %llu filament, %.2f + %.2f s, %s",
                (unsigned long long)f.toolhead_changes, (unsigned long long)f.filament_changes,
                f.exchange_s, f.change_s - f.exchange_s,
                f.purge ? std::to_string(*f.purge).c_str() : "?");
  return buffer;
}

// What must hold of every answer, whoever found it.
void check_answer(const Problem& q, const Assignment& a) {
  REQUIRE(a.map.size() == q.filaments.size());
  CHECK(std::set<int>(a.map.begin(), a.map.end()).size() == a.map.size());
  std::vector<int> now;
  std::size_t moved = 0;
  bool allowed = true;
  for (std::size_t f = 0; f < a.map.size(); ++f) {
    const auto& may = q.filaments[f].may;
    CHECK(std::find(may.begin(), may.end(), a.map[f]) != may.end());
    now.push_back(q.filaments[f].tool);
    moved += a.map[f] != now[f];
    allowed = allowed && std::find(may.begin(), may.end(), now[f]) != may.end();
  }
  CHECK(a.moved == moved);
  CHECK(a.baseline_allowed == allowed);
  CHECK(a.optimal == (a.proved_by != Proof::none));
  for (const auto& [map, figures] : {std::pair(a.map, a.best), std::pair(now, a.baseline)}) {
    const Walked w = walk(q, map);
    CHECK(figures.toolhead_changes == w.toolhead_changes);
    CHECK(figures.filament_changes == w.exchanges);
    if (q.by == Problem::By::time)
      CHECK(figures.change_s + figures.stops_s == Approx(double(w.cost) / 1e6));
  }
  CHECK(a.cost == Approx(double(walk(q, a.map).cost) / 1e6));
  CHECK(a.lower_bound <= a.cost);
  if (a.optimal) CHECK(a.lower_bound == a.cost);
  if (allowed) CHECK(walk(q, a.map).cost <= walk(q, now).cost);
}

// Ash with T0, birch with T1 and T2; round numbers.
Problem two_heads(std::vector<int> sequence) {
  Problem q;
  q.heads = {{"ash", {0}, 6, 4, 30, 0}, {"birch", {1, 2}, 6, 4, 30, 0}};
  for (int t = 0; t < 3; ++t) q.filaments.push_back({t, "F" + std::to_string(t), {0, 1, 2}, 0});
  q.sequence = std::move(sequence);
  return q;
}

}  // namespace

TEST_CASE("the best assignment is that which trying them all finds") {
  std::mt19937 random(20240611);
  int answered = 0, with_pairs = 0, bound_up = 0, put_away = 0;
  for (int i = 0; answered < 500; ++i) {
    const Problem q = random_problem(random, {});
    const Best best = enumerate(q);
    const auto a = assign::solve(q);
    INFO("problem " << i);
    if (best.map.empty() && !q.filaments.empty()) {
      CHECK_FALSE(a.ok());
      continue;
    }
    if (!a) FAIL(render(a.error()));
    check_answer(q, *a);
    CHECK(a->proved_by == Proof::subsets);
    CHECK(walk(q, a->map).cost == best.cost);
    CHECK(text_of(a->map) == text_of(best.map));
    ++answered;
    with_pairs += !q.pairs.empty();
    put_away += std::count(q.sequence.begin(), q.sequence.end(), -1) > 0;
    for (const auto& f : q.filaments) {
      if (f.may.size() == 1) {
        ++bound_up;
        break;
      }
    }
  }
  // The problems are of all kinds.
  CHECK(with_pairs > 100);
  CHECK(bound_up > 50);
  CHECK(put_away > 100);
}

TEST_CASE("branch and bound finds the same, but for which of equally good ones") {
  std::mt19937 random(7);
  int closed = 0;
  for (int i = 0; closed < 500; ++i) {
    Problem q = random_problem(random, {});
    q.most_by_subsets = 0;
    const Best best = enumerate(q);
    const auto a = assign::solve(q);
    INFO("problem " << i);
    if (best.map.empty() && !q.filaments.empty()) {
      CHECK_FALSE(a.ok());
      continue;
    }
    if (!a) FAIL(render(a.error()));
    check_answer(q, *a);
    CHECK(a->proved_by == Proof::bound);
    CHECK(walk(q, a->map).cost == best.cost);
    CHECK(int(a->moved) == best.moved);
    ++closed;
  }
}

TEST_CASE("branch and bound agrees with subsets where there is too much to try") {
  std::mt19937 random(99);
  for (int i = 0; i < 20; ++i) {
    Problem q = random_problem(random, {9, 11, 3, 200});
    const auto exact = assign::solve(q);
    q.most_by_subsets = 0;
    const auto searched = assign::solve(q);
    REQUIRE(exact.ok() == searched.ok());
    if (!exact) continue;
    check_answer(q, *searched);
    INFO("problem " << i);
    CHECK(searched->optimal);
    CHECK(searched->cost == exact->cost);
    CHECK(searched->moved == exact->moved);
  }
}

TEST_CASE("a search that is stopped says so, and its bound holds") {
  std::mt19937 random(3);
  int stopped = 0;
  for (int i = 0; i < 60; ++i) {
    Problem q = random_problem(random, {6, 7, 3, 200});
    q.most_by_subsets = 0;
    q.most_steps = random() % 1000;
    const auto a = assign::solve(q);
    if (!a) continue;
    check_answer(q, *a);
    stopped += !a->optimal;
    CHECK(a->lower_bound * 1e6 < double(enumerate(q).cost) + 0.5);
  }
  CHECK(stopped > 5);
}

TEST_CASE("alternating filaments belong on two toolheads") {
  // T1 and T2 share birch and alternate; T0 is used once.
  const auto a = assign::solve(two_heads({0, 1, 2, 1, 2, 1, 2}));
  REQUIRE(a);
  CHECK(text_of(a->map) == "2 1 0");
  CHECK(a->optimal);
  CHECK(a->moved == 2);
  CHECK(figures(a->baseline) == "1 toolhead, 5 filament, 150.00 + 14.00 s, ?");
  CHECK(figures(a->best) == "5 toolhead, 1 filament, 30.00 + 54.00 s, ?");
  CHECK(a->cost == 84);
}

TEST_CASE("of equally good assignments, the fewest moves, then the lowest tools") {
  // All alike: nothing moves.
  const auto stays = assign::solve(two_heads({0, 1, 0, 1}));
  REQUIRE(stays);
  CHECK(text_of(stays->map) == "0 1 2");
  CHECK(stays->moved == 0);
  // F1 may not stay, and any two may change places: F0 had better have the lower tool.
  Problem q = two_heads({});
  q.filaments[1].may = {0, 2};
  const auto lowest = assign::solve(q);
  REQUIRE(lowest);
  CHECK(text_of(lowest->map) == "0 2 1");
  CHECK_FALSE(lowest->baseline_allowed);
}

TEST_CASE("putting away and picking again is no exchange") {
  Problem q = two_heads({1, -1, 1, -1, 2, 1});
  q.first_is_mounted = true;
  const auto f = assign::figures_of(q, {0, 1, 2});
  CHECK(figures(f) == "2 toolhead, 2 filament, 60.00 + 20.00 s, ?");
}

TEST_CASE("what a purge is counted in") {
  Problem q = two_heads({1, 2, 1, 2, 0, 1});
  q.by = Problem::By::purge;
  SECTION("nothing known: exchanges count alike") {
    const auto a = assign::solve(q);
    REQUIRE(a);
    CHECK(a->cost == 1);
    CHECK(a->best.filament_changes == 1);
    CHECK_FALSE(a->best.purge.has_value());
  }
  SECTION("known of the toolhead with a feeder") {
    q.heads[1].exchange_purge_mm3 = 90.5;
    const auto a = assign::solve(q);
    REQUIRE(a);
    CHECK(a->cost == 90.5);
    CHECK(a->best.purge == 90.5);
    CHECK(a->baseline.purge == 4 * 90.5);
  }
  SECTION("known of one toolhead with a feeder only") {
    q.heads.push_back(
        {"ce\x1b"
         "dar",
         {3, 4},
         1,
         1,
         1,
         40});
    CHECK(said(assign::solve(q)) ==
          "exchange_purge_mm3 is known of some toolheads, but not of \"birch\"\n"
          "  hint: give it to each toolhead with a feeder, or a matrix");
  }
  SECTION("a matrix") {
    // From T1 to T2 costs nothing, back 5, all else 20.
    q.pairs = {0, 20, 20, 20, 0, 0, 20, 5, 0};
    const auto a = assign::solve(q);
    REQUIRE(a);
    CHECK(text_of(a->map) == "0 1 2");
    CHECK(a->cost == 10);
    CHECK(a->best.purge == 10);
  }
}

TEST_CASE("what cannot be assigned") {
  Problem q = two_heads({0, 1, 2});
  q.file = "rules.toml";
  SECTION("more filaments than tools") {
    q.filaments.push_back({9, "F9", {0, 1, 2}, 0});
    CHECK(said(assign::solve(q)) ==
          "rules.toml: the job uses 4 filaments, and the machine has 3 tools\n"
          "  hint: add tools to a [[toolhead]] in the rule file");
  }
  SECTION("two filaments for one tool") {
    q.filaments[0].may = {2};
    q.filaments[2] = {2, "mo\x1bss", {2}, 14};
    CHECK(
        said(assign::solve(q)) ==
        "rules.toml:14: 2 filaments have 1 tool where they may be: \"F0\" (T0), \"mo?ss\" (T2) at "
        "T2\n  hint: see their `only`, `never` and `fixed` in the rule file");
  }
  SECTION("nowhere") {
    q.filaments[1].may = {};
    q.filaments[1].line = 7;
    CHECK(said(assign::solve(q)) ==
          "rules.toml:7: \"F1\" (T1) may be at no tool that is free\n"
          "  hint: see `only`, `never` and `fixed` in the rule file");
  }
  SECTION("too many to hold in a set") {
    for (int t = 3; t < 66; ++t) q.filaments.push_back({t, "F", {t}, 0});
    CHECK(said(assign::solve(q)) == "the job uses 66 filaments; no more than 64 can be assigned");
  }
  SECTION("too long to add up") {
    q.heads[0].park_s = 1e9;
    q.sequence.resize(100, 1);
    CHECK(said(assign::solve(q)) ==
          "rules.toml: the changes of this job cost more than can be added up");
  }
}

TEST_CASE("nothing to assign") {
  Problem q;
  const auto a = assign::solve(q);
  REQUIRE(a);
  CHECK(a->optimal);
  CHECK(a->map.empty());
  q.most_by_subsets = 0;
  q.most_steps = 0;
  q.heads = {{"ash", {4}, 1, 1, 1, 1}};
  q.filaments = {{4, "F", {4}, 0}};
  const auto one = assign::solve(q);
  REQUIRE(one);
  CHECK(text_of(one->map) == "4");
}

TEST_CASE("many tools of one kind are no more work") {
  Problem q = two_heads({0, 1, 2, 1, 2, 1, 2});
  for (int t = 3; t < 5000; ++t) {
    q.heads[1].tools.push_back(t);
    for (auto& f : q.filaments) f.may.push_back(t);
  }
  const auto a = assign::solve(q);
  REQUIRE(a);
  CHECK(a->proved_by == Proof::subsets);
  CHECK(text_of(a->map) == "2 1 0");
}

TEST_CASE(
    "sixteen filaments, ten thousand changes: no swap is better, and the order of heads is "
    "nothing to it") {
  std::mt19937 random(16);
  Problem q;
  for (int h = 0; h < 3; ++h) q.heads.push_back({"h", {}, 6 + 0.5 * h, 7, 30.0 + h, 0});
  for (int t = 0; t < 16; ++t) {
    q.heads[std::size_t(t % 3)].tools.push_back(t);
    q.filaments.push_back({t, "F", {}, 0});
    for (int to = 0; to < 16; ++to) q.filaments.back().may.push_back(to);
  }
  // Layers of a few filaments each, now and then other ones.
  for (std::size_t i = 0; i < 10'000; ++i) {
    const bool again = i >= 7 && random() % 8 > 0;
    q.sequence.push_back(again ? q.sequence[i - 7] : int(random() % 16));
  }
  const auto a = assign::solve(q);
  REQUIRE(a);
  check_answer(q, *a);
  CHECK(a->proved_by == Proof::subsets);
  const long long cost = walk(q, a->map).cost;
  for (std::size_t f = 0; f < 16; ++f) {
    for (std::size_t g = 0; g < f; ++g) {
      auto map = a->map;
      std::swap(map[f], map[g]);
      CHECK(walk(q, map).cost >= cost);
    }
  }
  std::swap(q.heads[0], q.heads[2]);
  const auto again = assign::solve(q);
  REQUIRE(again);
  CHECK(text_of(again->map) == text_of(a->map));
}
