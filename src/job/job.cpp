#include "job/job.h"

#include <algorithm>
#include <iterator>
#include <unordered_map>

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

double Index::time_at(std::uint64_t offset) const {
  if (places_.empty()) return 0;
  const auto [before, after] =
      around([offset](const Place& place) { return place.offset <= offset; });
  if (offset <= before.offset || after.offset <= before.offset) return before.time_s;
  const double share = double(offset - before.offset) / double(after.offset - before.offset);
  return before.time_s + std::min(share, 1.0) * (after.time_s - before.time_s);
}

Index Index::with(std::vector<Place> more) const {
  const auto before = [](const Place& a, const Place& b) { return a.offset < b.offset; };
  std::sort(more.begin(), more.end(), before);
  Index out;
  out.places_.reserve(places_.size() + more.size());
  std::merge(places_.begin(), places_.end(), more.begin(), more.end(),
             std::back_inserter(out.places_), before);
  out.places_.erase(
      std::unique(out.places_.begin(), out.places_.end(),
                  [](const Place& a, const Place& b) { return a.offset == b.offset; }),
      out.places_.end());
  return out;
}

void Index::take(Place place, bool always) {
  // A long job: room is made once, and costs only what is used of it.
  if (places_.size() == kMost / 64) places_.reserve(kMost);
  always_ = always;
  places_.push_back(place);
  always_there_.push_back(always);
  if (places_.size() >= most_) thin();
}

void Index::thin() {
  step_s_ = std::min(kNearStepS, 2 * step_s_);
  far_step_s_ *= 2;
  const double now_s = places_.back().time_s;  // a change may come any moment
  std::size_t kept = 0;
  std::size_t next = 0;  // change
  for (std::size_t i = 0; i < places_.size(); ++i) {
    const double time_s = places_[i].time_s;
    while (next < changes_s_.size() && changes_s_[next] < time_s) ++next;
    const double ahead_s = (next < changes_s_.size() ? changes_s_[next] : now_s) - time_s;
    const double step_s = ahead_s <= kNearS  ? step_s_
                          : ahead_s <= kFarS ? std::min(far_step_s_, 2 * kNearStepS)
                                             : far_step_s_;
    const bool keep = kept == 0 || always_there_[i] || always_there_[kept - 1] ||
                      time_s >= places_[kept - 1].time_s + step_s;
    if (!keep) continue;
    places_[kept] = places_[i];
    always_there_[kept] = always_there_[i];
    ++kept;
  }
  places_.resize(kept);
  always_there_.resize(kept);
  most_ = std::max(most_, kept + kept / 2);
}

const char* name_of(ChangeKind kind) {
  switch (kind) {
    case ChangeKind::toolhead:
      return "toolhead";
    case ChangeKind::filament:
      return "filament";
    case ChangeKind::both:
      return "both";
    case ChangeKind::redundant:
      return "redundant";
    case ChangeKind::first:
      return "first";
    case ChangeKind::park:
      break;
  }
  return "park";
}

const Modal* Job::modal_at(std::uint64_t offset) const {
  const auto at = std::lower_bound(modals.begin(), modals.end(), offset,
                                   [](const Modal& m, std::uint64_t o) { return m.offset < o; });
  return at != modals.end() && at->offset == offset ? &*at : nullptr;
}

std::uint64_t Job::count(ChangeKind kind) const {
  return std::uint64_t(std::count_if(tool_changes.begin(), tool_changes.end(),
                                     [kind](const ToolChange& s) { return s.kind == kind; }));
}

void set_temperatures(Job& job) {
  struct Head {
    std::optional<double> now, before, printed;  // before: at its last use; printed: what is in it
    double hot_c = 0;
    std::uint64_t waited = 0;  // offset of the last line that waits for it, and for what
    double waited_c = 0;
  };
  std::vector<Head> heads(job.heads.size());
  std::unordered_map<int, double> printed;  // by tool
  std::size_t t = 0;
  const auto advance = [&](std::uint64_t offset) {
    for (; t < job.targets.size() && job.targets[t].at.offset < offset; ++t) {
      const Target& target = job.targets[t];
      Head& head = heads[target.head];
      if (target.has_temp) head.now = target.temp_c;
      if (head.now.value_or(0) > job.heads[target.head].hotend.ambient_c) head.hot_c = *head.now;
      if (target.waits) {
        head.waited = target.at.offset;
        head.waited_c = head.now.value_or(0);
      }
    }
  };
  for (ToolUse& s : job.uses) {
    Head& head = heads[s.head];
    const bool exchanges = s.select != kNone && job.tool_changes[s.select].exchanges();
    advance(s.first.offset);
    s.work_c = head.now;
    if (s.before_off_c > 0) s.work_c = s.before_off_c;
    // Exchanged and put away again: as hot as what was in it, unless the job says hotter.
    const double ambient_c = job.heads[s.head].hotend.ambient_c;
    if (s.kind == ToolUse::Kind::exchanged && head.before.value_or(0) > s.work_c.value_or(0)) {
      s.work_c = head.before;
    }
    if (s.kind == ToolUse::Kind::fed) {
      const bool waited = s.pulled_first && s.before_off_c <= 0 && s.select != kNone &&
                          head.waited >= job.tool_changes[s.select].end_offset &&
                          s.work_c.value_or(0) > ambient_c && head.waited_c == *s.work_c;
      advance(s.fed_offset);
      const double fed_c = head.now.value_or(0);
      if (!waited && (fed_c > s.work_c.value_or(0) || fed_c <= ambient_c)) s.work_c = head.now;
    }
    advance(s.extruded_end);
    s.hot_c = head.hot_c;
    s.last_c = s.kind == ToolUse::Kind::fed ? head.now : s.work_c;
    // What it is pulled or waited for at says less than what it was printed at before.
    if (exchanges) head.printed.reset();
    if (s.kind == ToolUse::Kind::fed) {
      head.printed = s.last_c;
      if (s.last_c.value_or(0) > ambient_c) printed[s.tool] = *s.last_c;
    }
    if (head.printed) s.last_c = head.printed;
    if (s.kind == ToolUse::Kind::exchanged) {
      const auto own = printed.find(s.tool);
      if (own != printed.end()) s.last_c = std::max(s.last_c.value_or(0), own->second);
    }
    head.before = s.last_c;
  }
}

}  // namespace forewarm::job
