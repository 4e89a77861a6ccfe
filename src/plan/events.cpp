#include "plan/events.h"

#include <algorithm>
#include <utility>

namespace forewarm::plan {

namespace {

// At one place: inserted lines stand before the job's own.
enum Rank : std::uint32_t { kGapBegins = 0, kInserted = 16, kGapEnds = 40, kOwn = 48 };
constexpr std::uint32_t rank_of(int inserted) { return kInserted + 2 * std::uint32_t(inserted); }
static_assert(rank_of(kNext) == Timeline::kLate && rank_of(kLast) < kGapEnds);

}  // namespace

void events_of(const job::Job& job, const std::vector<Break>& breaks,
               const std::vector<std::size_t>& parked, const Plan& plan, Timeline& into) {
  std::vector<Event>& events = into.events;
  std::vector<Timeline::Key>& keys = into.order;
  events.clear();
  keys.clear();
  const std::size_t most = 2 * parked.size() + plan.commands.size() + job.targets.size();
  events.reserve(most);
  keys.reserve(most);
  const auto put = [&](const Event& e, std::uint32_t rank) {
    keys.push_back({e.at.offset, rank, std::uint32_t(events.size())});
    events.push_back(e);
  };
  std::vector<std::vector<std::pair<std::uint64_t, std::size_t>>> window(job.heads.size());
  std::vector<std::uint64_t> ends(parked.size());
  for (std::size_t g = 0; g < parked.size(); ++g) {
    const Break& b = breaks[parked[g]];
    Event begin{b.from, Event::What::gap_begins, b.head};
    begin.gap = g;
    begin.threshold_c = std::min(b.standby_c, b.after ? b.ready_c : 1e9) + kHotAboveStandbyC;
    // What is given while it is still mounted comes before.
    put(begin, b.leaving == job::kNone ? kGapBegins : rank_of(kParting) + 1);
    Event end{b.to, Event::What::gap_ends, b.head};
    end.gap = g;
    put(end, kGapEnds);
    window[b.head].emplace_back(b.from.offset, g);
    ends[g] = std::max(b.to.offset, b.needs.empty() ? 0 : b.needs.back().at.offset);
  }
  const auto gap_of = [&](std::size_t head, std::uint64_t offset) {
    auto after =
        std::upper_bound(window[head].begin(), window[head].end(), std::pair{offset, SIZE_MAX});
    if (after == window[head].begin()) return job::kNone;
    const std::size_t g = (after - 1)->second;
    return offset <= ends[g] ? g : job::kNone;
  };
  for (const Command& c : plan.commands) {
    if (c.what == Command::What::raw) {
      if (c.seconds <= 0) continue;
      Event pass{c.at, Event::What::pass, c.head};
      pass.seconds = c.seconds;
      put(pass, rank_of(c.rank));
      continue;
    }
    Event e{c.at, c.what == Command::What::wait ? Event::What::wait : Event::What::set, c.head};
    e.temp_c = c.temp_c;
    e.preheat = c.preheat;
    e.step = c.step;
    if (!c.step) e.gap = gap_of(c.head, c.at.offset);
    put(e, rank_of(c.rank));
  }
  std::size_t d = 0;
  for (std::size_t t = 0; t < job.targets.size(); ++t) {
    while (d < plan.disabled.size() && plan.disabled[d] < t) ++d;
    if (d < plan.disabled.size() && plan.disabled[d] == t) continue;
    const job::Target& target = job.targets[t];
    Event e{target.at, target.waits ? Event::What::wait : Event::What::set, target.head};
    e.has_temp = target.has_temp;
    e.temp_c = target.temp_c;
    e.cooling = target.cooling;
    e.gap = gap_of(target.head, target.at.offset);
    put(e, kOwn);
  }
  std::sort(keys.begin(), keys.end());
}

}  // namespace forewarm::plan
