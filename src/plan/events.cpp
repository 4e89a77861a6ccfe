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

void events_of(const job::Job& job, const std::vector<Transition>& breaks,
               const std::vector<std::size_t>& parked, const std::vector<CommandDraft>& commands,
               const std::vector<std::size_t>& disabled, Timeline& into) {
  std::vector<Event>& events = into.events;
  std::vector<Timeline::Key>& keys = into.order;
  events.clear();
  keys.clear();
  const std::size_t most = 2 * parked.size() + commands.size() + job.targets.size();
  events.reserve(most);
  keys.reserve(most);
  const auto put = [&](job::Place at, std::uint32_t rank, std::size_t head,
                       Event::Kind kind) -> Event& {
    keys.push_back({at.offset, rank, std::uint32_t(events.size())});
    Event& e = events.emplace_back();
    e.at_s = at.time_s;
    e.head = std::uint32_t(head);
    e.kind = kind;
    return e;
  };
  struct Window {
    std::uint64_t from, to;
    std::uint32_t gap;
    Event::At at;
  };
  std::vector<std::vector<Window>> windows(job.heads.size());
  std::uint32_t g = 0;
  for (const Transition& b : breaks) {
    const std::uint64_t last_need = b.needs.empty() ? 0 : b.needs.back().at.offset;
    const Window window{b.from.offset, std::max(b.to.offset, last_need),
                        b.parked ? g : Event::kNoGap,
                        !b.after    ? Event::At::end
                        : !b.parked ? Event::At::exchange
                                    : Event::At::gap};
    windows[b.head].push_back(window);
    if (!b.parked) continue;
    // What is given while it is still mounted comes before.
    const bool later = b.arrived_at_from || (b.leaving != job::kNone && !b.put_away);
    Event& begin =
        put(b.from, later ? rank_of(kParting) + 1 : kGapBegins, b.head, Event::Kind::gap_begins);
    begin.gap = g;
    begin.temp_c = std::min(b.standby_c, b.after ? b.ready_c : 1e9) + kHotAboveStandbyC;
    put(b.to, kGapEnds, b.head, Event::Kind::gap_ends).gap = g;
    ++g;
  }
  // What is asked about next is mostly near what was asked about last.
  std::vector<std::size_t> last(job.heads.size(), 0);
  const auto window_of = [&](std::size_t head, std::uint64_t offset) -> const Window* {
    const std::vector<Window>& all = windows[head];
    std::size_t& after = last[head];
    constexpr int kMaxSteps = 8;
    int steps = 0;
    while (steps < kMaxSteps && after < all.size() && all[after].from <= offset) ++after, ++steps;
    while (steps < kMaxSteps && after > 0 && all[after - 1].from > offset) --after, ++steps;
    if (steps == kMaxSteps) {
      const auto at = std::upper_bound(all.begin(), all.end(), offset,
                                       [](std::uint64_t o, const Window& w) { return o < w.from; });
      after = std::size_t(at - all.begin());
    }
    if (after == 0) return nullptr;
    const Window& w = all[after - 1];
    return offset <= w.to ? &w : nullptr;
  };
  const auto place = [&](Event& e, std::uint64_t offset) {
    const Window* w = window_of(e.head, offset);
    if (w != nullptr) e.gap = w->gap;
    const bool starts = job.start && (offset < job.start->offset ||
                                      (offset == job.start->offset && e.gap == Event::kNoGap));
    e.at = starts ? Event::At::start_code : w != nullptr ? w->at : Event::At::use;
  };
  for (const CommandDraft& c : commands) {
    if (c.kind == Command::Kind::raw) {
      if (c.seconds > 0) {
        put(c.at, rank_of(c.rank), c.head, Event::Kind::pass).seconds = c.seconds;
      }
      continue;
    }
    Event& e = put(c.at, rank_of(c.rank), c.head,
                   c.kind == Command::Kind::wait ? Event::Kind::wait : Event::Kind::set);
    e.temp_c = c.temp_c;
    e.preheat = c.preheat;
    e.step = c.step;
    if (!c.step) place(e, c.at.offset);
  }
  std::size_t d = 0;
  for (std::size_t t = 0; t < job.targets.size(); ++t) {
    while (d < disabled.size() && disabled[d] < t) ++d;
    if (d < disabled.size() && disabled[d] == t) continue;
    const job::Target& target = job.targets[t];
    Event& e =
        put(target.at, kOwn, target.head, target.waits ? Event::Kind::wait : Event::Kind::set);
    e.has_temp = target.has_temp;
    e.temp_c = target.temp_c;
    e.cooling = target.cooling;
    place(e, target.at.offset);
  }
  std::sort(keys.begin(), keys.end());
}

void events_of(const job::Job& job, const std::vector<Transition>& breaks,
               const std::vector<std::size_t>& parked, const Plan& plan, Timeline& into) {
  std::vector<CommandDraft> commands;
  commands.reserve(plan.commands.size());
  for (const Command& c : plan.commands) {
    commands.push_back({c.at, c.temp_c, c.seconds, std::uint32_t(c.head), c.tool, c.rank, c.kind,
                        c.preheat, c.step});
  }
  events_of(job, breaks, parked, commands, plan.disabled, into);
}

void own_events_of(const job::Job& job, Timeline& into) {
  std::vector<std::uint64_t> last_end(job.heads.size(), 0);
  for (const job::ToolUse& s : job.uses) last_end[s.head] = s.last_end;
  for (const job::Target& t : job.targets) {
    Event e;
    e.at_s = t.at.time_s;
    e.head = std::uint32_t(t.head);
    e.kind = t.waits ? Event::Kind::wait : Event::Kind::set;
    e.has_temp = t.has_temp;
    e.temp_c = t.temp_c;
    e.cooling = t.cooling;
    if (!job.start || t.at.offset < job.start->offset) {
      e.at = Event::At::start_code;
    } else if (t.at.offset >= last_end[t.head]) {
      e.at = Event::At::end;
    }
    into.order.push_back({t.at.offset, 0, std::uint32_t(into.events.size())});
    into.events.push_back(e);
  }
}

}  // namespace forewarm::plan
