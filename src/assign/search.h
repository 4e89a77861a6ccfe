// The best assignment by branch and bound, for more filaments than subsets can be told of.
// Internal to assign/.
//
// Filaments are put on toolheads one after the other. What the rest will cost at least is known
// from those already placed: a filament that its toolhead saw another one since needs an exchange,
// whatever comes in between; two that follow each other are on one toolhead, which takes an
// exchange, or on two, which takes parking and picking. Each of these costs is laid to one open
// filament, so each may take its cheapest toolhead for itself. Costs have the number of moved
// filaments as their last digit.
#pragma once

#include <vector>

#include "assign/model.h"

namespace forewarm::assign {

struct Found {
  std::vector<std::size_t> slot_of;
  Cost cost = 0;         // without the last digit
  Cost lower_bound = 0;  // likewise; nothing costs less
  bool optimal = false;  // proved, also that no fewer need to be moved
};

// `most_steps`: situations looked at, about; then the search stops, with what it has. REQUIRES: all
// filaments fit.
[[nodiscard]] Found by_search(const Model& model, std::uint64_t most_steps);

}  // namespace forewarm::assign
