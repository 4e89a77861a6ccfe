#include "job/spools.h"

#include <algorithm>

namespace forewarm::job {

namespace {

void take(Taken& spool, double net_mm, double most_mm) {
  spool.most_mm = std::max(spool.most_mm, spool.net_mm + most_mm);
  spool.net_mm += net_mm;
}

}  // namespace

std::map<int, Taken> taken(const Job& job, std::span<const InsertedFeed> fed, std::size_t visits) {
  std::map<int, Taken> out;
  std::size_t next = 0;
  for (std::size_t v = 0; v < std::min(visits, job.visits.size()); ++v) {
    // What is inserted before a select still belongs to the visit that it ends.
    std::size_t end = next;
    const std::uint64_t last = v < job.tool_changes.size()
                                   ? job.tool_changes[v].at.offset
                                   : std::numeric_limits<std::uint64_t>::max();
    while (end < fed.size() && fed[end].offset <= last) ++end;
    const auto here = fed.subspan(next, end - next);
    next = end;
    for (const InsertedFeed& f : here) {
      if (f.before_use) take(out[f.tool], f.net_mm, f.most_mm);
    }
    const Visit& visit = job.visits[v];
    if (visit.tool >= 0) take(out[visit.tool], visit.net_mm, visit.most_mm);
    for (const InsertedFeed& f : here) {
      if (!f.before_use) take(out[f.tool], f.net_mm, f.most_mm);
    }
  }
  return out;
}

SpoolWatch::SpoolWatch(const WatchedSpools* watched) : watched_(watched) {
  if (watched_ == nullptr) return;
  for (const auto& [tool, usable_mm] : watched_->usable_mm) spools_[tool] = {usable_mm};
  find_next();
}

bool SpoolWatch::move(int tool, double mm) {
  const auto at = spools_.find(tool);
  if (at == spools_.end()) return false;
  Spool& spool = at->second;
  spool.taken_mm += mm;
  if (spool.over || spool.taken_mm <= spool.usable_mm + kNoFilamentMm) return false;
  spool.over = true;
  return true;
}

bool SpoolWatch::insert() {
  const InsertedFeed& fed = next();
  ++next_;
  find_next();
  const bool over = move(fed.tool, fed.most_mm);
  (void)move(fed.tool, fed.net_mm - fed.most_mm);
  return over;
}

void SpoolWatch::find_next() {
  next_offset_ = next_ < watched_->fed.size() ? watched_->fed[next_].offset
                                              : std::numeric_limits<std::uint64_t>::max();
}

}  // namespace forewarm::job
