// The best assignment by dynamic programming over subsets: exact, and the tie broken to the last.
// Internal to assign/.
//
// What a toolhead costs depends on the set of filaments on it alone, so the best for a set S on the
// first k toolheads is the least, over T within S, of T on the k-th and the rest of S on those
// before. With f filaments that is 3^f steps for each toolhead but the first and the last, fewer
// where toolheads have few tools. The costs of all sets come from one sum over subsets (the zeta
// transform) a filament, whatever the length of the job.
#pragma once

#include <vector>

#include "assign/model.h"

namespace forewarm::assign {

// How many steps by_subsets() would take; UINT64_MAX where it cannot be done at all.
[[nodiscard]] std::uint64_t subset_steps(const Model& model);

// The slot of each filament. REQUIRES: all filaments fit; subset_steps() is no UINT64_MAX.
[[nodiscard]] std::vector<std::size_t> by_subsets(const Model& model);

}  // namespace forewarm::assign
