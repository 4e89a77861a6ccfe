// A problem about an assignment, boiled down for searching: whole numbers, and every situation of
// the job once, with how often it occurs. Internal to assign/.
//
// A filament is wanted with some history: the filaments used since it was last used itself, the
// latest first. Under an assignment the first of these that shares its toolhead is what the
// toolhead has in it, and has to be exchanged; if none does, the filament is still in. That is all
// that a change's cost depends on, so a job of many layers boils down to a few situations.
#pragma once

#include <algorithm>
#include <bit>
#include <cstdint>
#include <vector>

#include "assign/assign.h"
#include "base/error.h"

namespace forewarm::assign {

using Cost = std::int64_t;
using Mask = std::uint64_t;  // of filaments

[[nodiscard]] constexpr Mask bit(std::size_t filament) { return Mask{1} << filament; }

struct Situation {
  std::uint8_t filament = 0;
  bool adjacent = false;            // `since` begins with what was used right before, not put away
  std::vector<std::uint8_t> since;  // latest first
  Mask among = 0;                   // the same as a set
  Cost count = 0;
  Cost least = 0;  // an exchange from any of `since`; with pairs only
};

struct Model {
  struct Head {
    Cost park = 0, pick = 0, exchange = 0;
    Mask may = 0;  // the filaments that some tool of it admits
    std::vector<std::size_t> slots;
  };
  // A tool that a filament may be at. Slots ascend by tool.
  struct Slot {
    int tool = 0;
    std::size_t head = 0;
    Mask may = 0;
  };
  std::size_t filaments = 0;
  std::vector<Head> heads;
  std::vector<Slot> slots;
  std::vector<std::size_t> own;  // the slot a filament is at, kNoSlot if it may not be there
  std::vector<std::size_t> own_head;
  std::vector<Situation> situations;
  std::vector<Cost> taken, put;  // how often each is picked from nothing, and put away for nothing
  std::vector<Cost> pairs;       // of an exchange; empty: by toolhead and filament
  // Of an exchange by the filament that comes in: its own cost, and whether the toolhead's adds.
  std::vector<Cost> incoming;
  std::vector<char> adds_head;
  static constexpr std::size_t kNoSlot = SIZE_MAX;

  [[nodiscard]] Cost exchange(std::size_t head, std::size_t from, std::size_t to) const {
    return pairs.empty() ? incoming_exchange(head, to) : pairs[from * filaments + to];
  }
  // REQUIRES: no pairs.
  [[nodiscard]] Cost incoming_exchange(std::size_t head, std::size_t to) const {
    return incoming[to] + (adds_head[to] != 0 ? heads[head].exchange : 0);
  }
  // What everything costs, with the filaments on these heads.
  [[nodiscard]] Cost cost(const std::vector<std::size_t>& head_of) const;
};

// What one unit of a cost is in seconds or in purge.
constexpr double kCostUnit = 1e-6;
// Costs below this leave room for arithmetic on them.
constexpr Cost kMaxCost = Cost{1} << 54;
// Costs with the number of moved filaments as the last digit.
constexpr Cost kMovedBase = 128;

// Errors as of solve().
[[nodiscard]] Result<Model> model_of(const Problem& problem);

}  // namespace forewarm::assign
