#include "plan/events.h"

#include <algorithm>
#include <utility>
#include <vector>

namespace forewarm::plan {

namespace {

// At one place: inserted lines stand before the job's own.
enum Rank : std::uint32_t {
  kGapBegins = 0,
  kInserted = 16,
  kGapEnds = 40,
  kPutAway = 41,
  kOwn = Timeline::kOwn
};
constexpr std::uint32_t rank_of(int inserted) { return kInserted + 2 * std::uint32_t(inserted); }
static_assert(rank_of(kFirst) == Timeline::kBetween && rank_of(kNext) == Timeline::kLate &&
              rank_of(kLast) < kGapEnds);

// The stretches of the text in which one toolhead is waited for because of a transition.
class WaitWindows {
 public:
  struct Window {
    std::uint64_t from, to;
    std::uint32_t gap;
    Event::At at;
  };
  void add(const Window& window) { all_.push_back(window); }
  // The window that holds the offset; nullptr: none. What is looked up next is mostly near what was
  // looked up last.
  [[nodiscard]] const Window* find(std::uint64_t offset) {
    constexpr int kMaxSteps = 8;
    int steps = 0;
    while (steps < kMaxSteps && next_ < all_.size() && all_[next_].from <= offset) {
      ++next_, ++steps;
    }
    while (steps < kMaxSteps && next_ > 0 && all_[next_ - 1].from > offset) --next_, ++steps;
    if (steps == kMaxSteps) {
      const auto at = std::upper_bound(all_.begin(), all_.end(), offset,
                                       [](std::uint64_t o, const Window& w) { return o < w.from; });
      next_ = std::size_t(at - all_.begin());
    }
    if (next_ == 0) return nullptr;
    const Window& w = all_[next_ - 1];
    return offset <= w.to ? &w : nullptr;
  }

 private:
  std::vector<Window> all_;  // ascending
  std::size_t next_ = 0;     // the first that begins behind what was looked up last
};

class Events {
 public:
  Events(const job::Job& job, std::size_t most, Timeline& into)
      : job_(job), into_(into), windows_(job.heads.size()) {
    into_.events.clear();
    into_.order.clear();
    into_.events.reserve(most);
    into_.order.reserve(most);
  }

  void add_transitions(const Problem& problem) {
    std::uint32_t g = 0;
    for (const Transition& t : problem.transitions) {
      const std::uint64_t last_deadline = t.deadlines.empty() ? 0 : t.deadlines.back().at.offset;
      const job::Place& from = t.pause ? t.parked_for_pause : t.from;
      windows_[t.head].add({from.offset, std::max(t.to.offset, last_deadline),
                            t.parked ? g : Event::kNoGap,
                            !t.after    ? Event::At::end
                            : !t.parked ? Event::At::exchange
                                        : Event::At::gap});
      if (!t.parked) continue;
      // Only what is made up for asks since when it is parked.
      if (!problem.make_ups.empty() && from.offset > job_.start->offset) {
        put(from, kPutAway, t.head, Event::Kind::put_away).gap = g;
      }
      add_gap(t, g++);
    }
  }

  void add(const CommandDraft& c) {
    if (c.kind == CommandDraft::Kind::raw) {
      if (c.seconds > 0) {
        put(c.at, rank_of(c.rank), c.head, Event::Kind::pass).seconds = c.seconds;
      }
      return;
    }
    Event& e = put(c.at, rank_of(c.rank), c.head,
                   c.kind == CommandDraft::Kind::wait ? Event::Kind::wait : Event::Kind::set);
    e.temp_c = c.temp_c;
    e.ours = true;
    e.step = c.step;
    if (!c.step) attribute(e, c.at.offset);
  }

  void add_own_targets(const std::vector<std::size_t>& disabled) {
    std::size_t d = 0;
    for (std::size_t t = 0; t < job_.targets.size(); ++t) {
      while (d < disabled.size() && disabled[d] < t) ++d;
      const job::Target& target = job_.targets[t];
      if (d < disabled.size() && disabled[d] == t) {
        if (target.rest_s <= 0) continue;
        put(target.at, kOwn, target.head, Event::Kind::runs_on).seconds = target.rest_s;
        continue;
      }
      Event& e =
          put(target.at, kOwn, target.head, target.waits ? Event::Kind::wait : Event::Kind::set);
      e.has_temp = target.has_temp;
      e.temp_c = target.temp_c;
      e.cooling = target.cooling;
      attribute(e, target.at.offset);
    }
  }

  void sort() { std::sort(into_.order.begin(), into_.order.end()); }

 private:
  Event& put(job::Place at, std::uint32_t rank, std::size_t head, Event::Kind kind) {
    into_.order.push_back({at.offset, rank, std::uint32_t(into_.events.size())});
    Event& e = into_.events.emplace_back();
    e.at_s = at.time_s;
    e.head = std::uint32_t(head);
    e.kind = kind;
    return e;
  }

  void add_gap(const Transition& t, std::uint32_t g) {
    // Commands for a toolhead that is still mounted come before.
    const bool at_once =
        !t.put_away || (t.pause && t.put_away->offset == t.parked_for_pause.offset);
    const bool later = t.arrived_at_from || (t.leaving != job::kNone && at_once);
    if (t.pause) put(t.from, kGapBegins, t.head, Event::Kind::pause).gap = g;
    Event& begin = put(t.pause ? t.parked_for_pause : t.from,
                       later ? rank_of(kParting) + 1 : kGapBegins, t.head, Event::Kind::gap_begins);
    begin.gap = g;
    begin.temp_c = std::min(t.standby_c, t.after ? t.ready_c : 1e9) + kHotAboveStandbyC;
    put(t.to, kGapEnds, t.head, Event::Kind::gap_ends).gap = g;
  }

  // To which gap a wait at this event belongs, and to which cause.
  void attribute(Event& e, std::uint64_t offset) {
    const WaitWindows::Window* w = windows_[e.head].find(offset);
    if (w != nullptr) e.gap = w->gap;
    const bool starts = job_.start && (offset < job_.start->offset ||
                                       (offset == job_.start->offset && e.gap == Event::kNoGap));
    e.at = starts ? Event::At::start_code : w != nullptr ? w->at : Event::At::use;
  }

  const job::Job& job_;
  Timeline& into_;
  std::vector<WaitWindows> windows_;  // as job.heads
};

void of_dialect(const rules::Dialect& dialect, Timeline& into) {
  into.wait_takes_s = dialect.wait_takes_s;
  into.wait_window_c.reset();
  if (dialect.waits_for_least()) into.wait_window_c = dialect.wait_window_c;
}

template <class Commands>
void events_with(const Problem& problem, const Commands& commands,
                 const std::vector<std::size_t>& disabled, Timeline& into) {
  const job::Job& job = problem.job;
  of_dialect(problem.rules.dialect, into);
  Events events(job, 3 * problem.gaps.size() + commands.size() + job.targets.size(), into);
  events.add_transitions(problem);
  for (const CommandDraft& c : commands) events.add(c);
  events.add_own_targets(disabled);
  events.sort();
}

}  // namespace

void events_of(const Problem& problem, std::span<const CommandDraft> commands, Timeline& into) {
  events_with(problem, commands, problem.disabled, into);
}

void events_of(const Problem& problem, const Plan& plan, Timeline& into) {
  events_with(problem, plan.commands, plan.disabled, into);
}

void own_events_of(const job::Job& job, const rules::Dialect& dialect, Timeline& into) {
  of_dialect(dialect, into);
  std::vector<std::uint64_t> last_end(job.heads.size(), 0);
  for (const job::ToolUse& use : job.uses) last_end[use.head] = use.last_end;
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
