#include "job/job.h"

#include <algorithm>

namespace forewarm::job {

void Index::add(Place place, bool always) {
  if (!places_.empty()) {
    const Place& last = places_.back();
    if (place.offset == last.offset) return;
    // After a wait, the next line is later than it looks.
    if (!always && !always_ && place.time_s < last.time_s + step_s_) return;
  }
  always_ = always;
  places_.push_back(place);
  if (places_.size() < kMost) return;
  step_s_ *= 2;
  std::size_t kept = 0;
  for (std::size_t i = 0; i < places_.size(); i += 2) places_[kept++] = places_[i];
  places_.resize(kept);
}

const char* name_of(Change kind) {
  switch (kind) {
    case Change::toolhead:
      return "toolhead";
    case Change::filament:
      return "filament";
    case Change::both:
      return "both";
    case Change::redundant:
      return "redundant";
    case Change::first:
      return "first";
    case Change::park:
      break;
  }
  return "park";
}

const Modal* Job::modal_at(std::uint64_t offset) const {
  const auto at = std::lower_bound(modals.begin(), modals.end(), offset,
                                   [](const Modal& m, std::uint64_t o) { return m.offset < o; });
  return at != modals.end() && at->offset == offset ? &*at : nullptr;
}

std::uint64_t Job::count(Change kind) const {
  return std::uint64_t(std::count_if(selects.begin(), selects.end(),
                                     [kind](const Select& s) { return s.kind == kind; }));
}

}  // namespace forewarm::job
