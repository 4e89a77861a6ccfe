#include "review/schedule.h"

#include <algorithm>
#include <utility>

#include "plan/events.h"
#include "plan/simulate.h"

namespace forewarm::review {

namespace {

using What = record::Echo::What;

class Clock {
 public:
  Clock(const job::Job& job, const rules::Dialect& dialect, plan::Trace* trace) : job_(job) {
    plan::Timeline timeline;
    plan::own_events_of(job, dialect, timeline);
    auto replay = plan::simulate(job, timeline, 0, trace);
    waits_ = std::move(replay.waits);
    if (trace != nullptr) trace->drives = std::move(replay.drives);
  }

  // Of the last line before `offset` whose time is known: exact behind selects and targets.
  [[nodiscard]] double job_s(std::uint64_t offset) const {
    double at_s = 0;
    if (job_.index.size() > 0) {
      at_s = job_.index.last_where([&](const job::Place& p) { return p.offset <= offset; }).time_s;
    }
    const auto target =
        std::partition_point(job_.targets.begin(), job_.targets.end(),
                             [&](const job::Target& t) { return t.at.offset <= offset; });
    if (target != job_.targets.begin()) at_s = std::max(at_s, (target - 1)->at.time_s);
    const auto change =
        std::partition_point(job_.tool_changes.begin(), job_.tool_changes.end(),
                             [&](const job::ToolChange& c) { return c.end_offset <= offset; });
    if (change != job_.tool_changes.begin()) at_s = std::max(at_s, (change - 1)->end_s);
    return at_s;
  }
  // Of the first line from `offset` on whose time is known: when the line before it is over, but
  // for moves shorter than places lie apart.
  [[nodiscard]] double next_job_s(std::uint64_t offset) const {
    double at_s = job_.duration_s;
    const job::Index& index = job_.index;
    if (index.size() > 0 && index[index.size() - 1].offset >= offset) {
      at_s = index.around([&](const job::Place& p) { return p.offset < offset; }).second.time_s;
    }
    const auto target =
        std::partition_point(job_.targets.begin(), job_.targets.end(),
                             [&](const job::Target& t) { return t.at.offset < offset; });
    if (target != job_.targets.end()) at_s = std::min(at_s, target->at.time_s);
    return at_s;
  }
  [[nodiscard]] double waited_s(std::uint64_t offset) const { return waits_.before_line(offset); }
  [[nodiscard]] double total_s() const { return waits_.total(); }

 private:
  const job::Job& job_;
  plan::CumulativeDelay waits_;
};

class Maker {
 public:
  Maker(const job::Job& job, const Script& script, const rules::Dialect& dialect,
        plan::Trace* trace)
      : job_(job), script_(script), clock_(job, dialect, trace) {}

  Schedule make() {
    Schedule out;
    out.heads = job_.heads.size();
    out.echoes = !script_.says().empty();
    out.feeds = job_.start.has_value();
    for (const Say& s : script_.says()) out.numbers.push_back(s.number);
    std::sort(out.numbers.begin(), out.numbers.end());
    std::uint64_t start = job_.start ? job_.start->offset : 0;
    out.start_job_s = job_.start ? job_.start->time_s : 0;
    for (const Say& s : script_.says()) {
      if (s.what != What::start) continue;
      start = s.offset;
      break;
    }
    if (!job_.start || start < job_.start->offset) {
      out.start_job_s = clock_.job_s(start);
    }
    const double waited_s = clock_.waited_s(start);
    out.start_s = out.start_job_s + waited_s;
    out.end_job_s = job_.duration_s;
    out.end_s = job_.duration_s + clock_.total_s();
    out.total_wait_s = clock_.total_s();
    for (const StepRun& run : script_.steps()) {
      const double took_s = clock_.next_job_s(run.to) - clock_.next_job_s(run.from);
      sequences_.push_back({run.from, std::max(0.0, took_s)});
    }
    std::uint64_t ready_before = start;
    for (const job::ToolChange& c : job_.tool_changes) {
      out.selects.push_back({c.tool, std::nullopt});
      if (c.at.offset < start || c.kind == job::ChangeKind::redundant) continue;
      out.selects.back().change = out.changes.size();
      out.changes.push_back(change(c, ready_before));
    }
    out.time.waiting_s = clock_.total_s() - waited_s;
    for (const PlannedChange& c : out.changes) {
      out.time.park_pick_s += c.park_s + c.pick_s;
      out.time.exchange_s += c.exchange_s;
    }
    out.time.sequences_s = sequences_s(start, job_.bytes);
    out.sequences_last_s = sequences_s(ready_before, job_.bytes);
    out.time.moving_s = out.end_s - out.start_s - out.time.waiting_s - out.time.park_pick_s -
                        out.time.exchange_s - out.time.sequences_s;
    return out;
  }

 private:
  // Of those that begin from `from` to before `to`.
  [[nodiscard]] double sequences_s(std::uint64_t from, std::uint64_t to) const {
    double sum_s = 0;
    auto s = std::partition_point(sequences_.begin(), sequences_.end(),
                                  [&](const Sequence& x) { return x.offset < from; });
    for (; s != sequences_.end() && s->offset < to; ++s) sum_s += s->seconds;
    return sum_s;
  }

  PlannedChange change(const job::ToolChange& c, std::uint64_t& ready_before) const {
    PlannedChange out;
    out.line = c.line;
    out.from_tool = c.from_tool;
    out.tool = c.tool;
    out.from_head = c.from_head;
    out.head = c.head;
    out.kind = c.kind;
    out.park_s = c.park_s;
    out.pick_s = c.pick_s;
    out.exchange_s = c.exchange_s;
    out.leave_job_s = c.at.time_s;
    out.there_job_s = out.ready_job_s = c.end_s;
    out.at_s = c.at.time_s + clock_.waited_s(c.at.offset);
    std::uint64_t ready = c.end_offset;
    const auto& says = script_.says();
    auto say = std::partition_point(says.begin(), says.end(),
                                    [&](const Say& s) { return s.offset < c.at.offset; });
    if (say != says.begin() && (say - 1)->what == What::leave) {
      out.number = (say - 1)->number;
      out.leave_rests = (say - 1)->rests;
    }
    for (; say != says.end() && say->what != What::leave; ++say) {
      if (say->what == What::there && !out.number) out.number = say->number;
      if (say->what == What::ready && say->number == out.number) {
        out.has_ready = true;
        ready = say->offset;
        out.ready_job_s = clock_.job_s(ready);
      }
    }
    waits(c, ready_before, ready, out);
    out.sequences_before_s = sequences_s(ready_before, c.at.offset);
    out.sequences_after_s = sequences_s(c.at.offset, ready);
    ready_before = ready;
    return out;
  }

  void waits(const job::ToolChange& c, std::uint64_t from, std::uint64_t ready,
             PlannedChange& out) const {
    out.wait_before_s = clock_.waited_s(c.at.offset) - clock_.waited_s(from);
    out.wait_after_s = clock_.waited_s(ready) - clock_.waited_s(c.end_offset);
    auto t = std::partition_point(job_.targets.begin(), job_.targets.end(),
                                  [&](const job::Target& x) { return x.at.offset < from; });
    double target_c = 0;
    for (; t != job_.targets.end() && t->at.offset < ready; ++t) {
      if (t->head == c.head && t->has_temp) target_c = t->temp_c;
      if (!t->waits) continue;
      if (t->at.offset < c.at.offset) {
        ++out.waits_before;
        out.steps_before_s = c.at.time_s - t->at.time_s;
        if (t->head == c.head) out.before_c = target_c;
      } else {
        ++out.waits_after;
      }
    }
    out.needed_c = target_c;
  }

  struct Sequence {
    std::uint64_t offset;
    double seconds;
  };
  const job::Job& job_;
  const Script& script_;
  Clock clock_;
  std::vector<Sequence> sequences_;
};

}  // namespace

std::map<std::uint64_t, std::size_t> waits_of(const Schedule& schedule) {
  std::map<std::uint64_t, std::size_t> out;
  for (const PlannedChange& c : schedule.changes) {
    if (c.number && c.waits_after > 0) out.emplace(*c.number, c.head);
  }
  return out;
}

Schedule schedule_of(const job::Job& printed, const Script& script, const rules::Dialect& dialect,
                     plan::Trace* trace) {
  return Maker(printed, script, dialect, trace).make();
}

}  // namespace forewarm::review
