#include "job/modals.h"

#include <algorithm>
#include <utility>

namespace forewarm::job {

void ModalKeeper::limits(const motion::Limits& limits) {
  if (limits_.empty() || !(limits_.back() == limits)) limits_.push_back(limits);
}

void ModalKeeper::keep(std::uint64_t offset, const gcode::State& state) {
  if (!modals_.empty() && modals_.back().offset == offset) return;
  modals_.push_back({offset, state, limits_.size() - 1});
}

void ModalKeeper::select() {
  const auto at = std::lower_bound(modals_.begin(), modals_.end(), fed_.offset,
                                   [](const Modal& m, std::uint64_t o) { return m.offset < o; });
  if (at != modals_.begin() && (at == modals_.end() || at->offset != fed_.offset)) {
    modals_.insert(at, fed_);
  }
}

void ModalKeeper::finish(Job& job) {
  select();
  job.modals = std::move(modals_);
  job.limits = std::move(limits_);
}

}  // namespace forewarm::job
