#include "job/job.h"

#include <algorithm>

namespace forewarm::job {

void Index::take(Place place, bool always) {
  // A long job: room is made once, and costs only what is used of it.
  if (places_.size() == kMost / 64) places_.reserve(kMost);
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

std::uint64_t Job::count(Change kind) const {
  return std::uint64_t(std::count_if(selects.begin(), selects.end(),
                                     [kind](const Select& s) { return s.kind == kind; }));
}

void set_temperatures(Job& job) {
  std::vector<std::optional<double>> now(job.heads.size());
  auto before = now;  // at each toolhead's last stint
  std::size_t t = 0;
  const auto advance = [&](std::uint64_t offset) {
    for (; t < job.targets.size() && job.targets[t].at.offset < offset; ++t) {
      if (job.targets[t].has_temp) now[job.targets[t].head] = job.targets[t].temp_c;
    }
  };
  for (Stint& s : job.stints) {
    advance(s.first.offset);
    s.work_c = now[s.head];
    // Exchanged and put away again: as hot as what was in it, unless the job says hotter.
    const double ambient_c = job.heads[s.head].hotend.ambient_c;
    if (!s.extrudes && before[s.head] && s.work_c.value_or(0) <= ambient_c) {
      s.work_c = before[s.head];
    }
    advance(s.extruded_end);
    s.last_c = s.extrudes ? now[s.head] : s.work_c;
    before[s.head] = s.last_c;
  }
}

}  // namespace forewarm::job
