#include "job/job.h"

#include <algorithm>

namespace forewarm::job {

std::size_t Index::count_to(std::uint64_t offset, std::size_t near) const {
  // In steps that double, until it lies between.
  std::size_t low = std::min(near, places_.size());
  std::size_t high = low;
  for (std::size_t step = 1; low > 0 && places_[low - 1].offset > offset; step *= 2) {
    high = low - 1;
    low -= std::min(low, step);
  }
  for (std::size_t step = 1; high < places_.size() && places_[high].offset <= offset; step *= 2) {
    low = high + 1;
    high += std::min(places_.size() - high, step);
  }
  const auto after = std::upper_bound(places_.begin() + std::ptrdiff_t(low),
                                      places_.begin() + std::ptrdiff_t(high), offset,
                                      [](std::uint64_t o, const Place& p) { return o < p.offset; });
  return std::size_t(after - places_.begin());
}

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
