// Whether filaments fit the tools of their toolheads, and which goes where. Internal to assign/.
//
// Each tool takes one filament, of those it admits: bipartite matching. Fitting is by augmenting
// paths; the fewest moves by the Hungarian method (Kuhn 1955, with Munkres' potentials).
#pragma once

#include <optional>
#include <vector>

#include "assign/model.h"

namespace forewarm::assign {

constexpr std::size_t kOpen = SIZE_MAX;  // no toolhead chosen yet

// Filaments for which there are fewer tools than there are of them.
struct Crowd {
  std::vector<std::size_t> filaments, slots;
};
// Nothing if all filaments fit somewhere. Which crowd, if there are several, is the same always.
[[nodiscard]] std::optional<Crowd> find_crowd(const Model& model);

// Whether all filaments fit, those with a toolhead on that.
[[nodiscard]] bool fits(const Model& model, const std::vector<std::size_t>& head_of);

// The fewest filaments that are not where they were, on these toolheads. REQUIRES: fits(), and no
// toolhead open.
[[nodiscard]] std::size_t fewest_moved(const Model& model, const std::vector<std::size_t>& head_of);

// Slots with the fewest moved; of those the lexicographically smallest. REQUIRES: as above.
[[nodiscard]] std::vector<std::size_t> place(const Model& model,
                                             const std::vector<std::size_t>& head_of);

}  // namespace forewarm::assign
