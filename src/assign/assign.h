// Which filament belongs on which tool: the assignment that a job's changes cost least with.
//
// Contract: pure; the same problem has the same answer on any machine. Costs are added up in
// whole microseconds, micrograms or millionths of a mm3, so no rounding depends on the order.
//
// What a job costs under an assignment: each time a toolhead is put away, its park_s; each time it
// is picked, its pick_s; and where it is wanted with another filament than it last had, an
// exchange, which takes what the filament that comes in says, else what the toolhead says. By time,
// both cost what their stops take on average besides. The first filament of a toolhead is free. So
// whether a select needs an exchange depends on what its toolhead had before, however long ago, and
// the costs of toolheads add up.
//
// Of assignments that cost the same, that with the fewest filaments moved is the best; of those,
// where `proved_by` is subsets, the one whose map is the smallest in lexicographic order.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/error.h"

namespace forewarm::assign {

constexpr std::size_t kMaxFilaments = 64;

struct Toolhead {
  std::string name;
  std::vector<int> tools;
  double park_s = 0, pick_s = 0, exchange_s = 0;
  double exchange_purge_mm3 = 0;  // 0: not known
  double pick_stops_s = 0;        // that a pick costs by its odds
};

struct Filament {
  int tool = 0;            // where it is
  std::string name;        // for messages
  std::vector<int> may;    // the tools it may be at
  std::uint64_t line = 0;  // of the rule that says so; 0: none
  // Of exchanges that bring it in: in place of the toolhead's, and what their odds cost.
  std::optional<double> exchange_s = {};
  double exchange_stops_s = 0;
};

struct Problem {
  enum class By { time, purge };
  static constexpr int kPutAway = -1;

  std::vector<Filament> filaments;  // ascending tool; at most kMaxFilaments
  std::vector<int> sequence;        // indexes into filaments as used, or kPutAway
  bool first_is_mounted = false;    // the first filament's toolhead need not be picked
  std::vector<Toolhead> heads;      // no tool twice
  By by = By::time;
  std::vector<double> pairs;  // purge from a to b at [a * filaments + b]; empty: none
  std::string file;           // of the rules, for messages
  // How much work may go into proving; see search.h.
  std::uint64_t most_steps = 2'000'000'000;  // some seconds
  std::size_t most_by_subsets = 20;
};

struct Figures {
  std::uint64_t toolhead_changes = 0;  // a toolhead is picked, the first one not counted
  std::uint64_t filament_changes = 0;  // exchanges
  double exchange_s = 0;               // what these take
  double change_s = 0;                 // and with parking and picking
  double stops_s = 0;                  // what stops add on average, where they count
  std::optional<double> purge;         // unit as in `pairs`, else mm3; nothing where not known
};

enum class Proof : std::uint8_t { subsets, bound, none };

struct Assignment {
  std::vector<int> map;  // the new tool of each filament
  Figures baseline, best;
  std::size_t moved = 0;         // filaments
  bool baseline_allowed = true;  // the filaments may stay where they are
  bool optimal = false;          // nothing is better: proved
  Proof proved_by = Proof::none;
  // No assignment costs less: seconds, or purge; or exchanges, where by purge but none is known.
  double lower_bound = 0;
  double cost = 0;  // what `map` costs, likewise
};

// Errors (kind `refused`): no assignment is allowed, more filaments than can be handled, or more
// time than can be added up. Kind `rules`: exchange_purge_mm3 is known of some toolheads only.
[[nodiscard]] Result<Assignment> solve(const Problem& problem);

// What a job costs under `map`, step by step as the machine would do it. REQUIRES: map names a tool
// of a toolhead for each filament.
[[nodiscard]] Figures figures_of(const Problem& problem, const std::vector<int>& map);

}  // namespace forewarm::assign
