#include "review/pieces.h"

#include <algorithm>
#include <map>

namespace forewarm::review {

namespace {

using What = record::Echo::What;

class Cutter {
 public:
  Cutter(const Schedule& schedule, const std::vector<Journal>& records)
      : schedule_(schedule), records_(records) {
    for (std::size_t i = 0; i < schedule.changes.size(); ++i) {
      if (schedule.changes[i].number) change_of_.emplace(*schedule.changes[i].number, i);
    }
  }

  Cut make() {
    for (std::size_t r = 0; r < records_.size(); ++r) find_prints(r);
    for (std::size_t p = 0; p < out_.prints.size(); ++p) cut_print(p);
    return std::move(out_);
  }

 private:
  void find_prints(std::size_t r) {
    const std::size_t first = out_.prints.size();
    if (!schedule_.echoes || records_[r].heard.empty()) {
      if (!records_[r].selected.empty()) find_selects(r);
      return;
    }
    std::optional<std::size_t> current;
    for (const Heard& h : records_[r].heard) {
      if (!current || h.echo.print != *current) {
        out_.prints.push_back(
            {r, nullptr, nullptr, std::vector<HeardChange>(schedule_.changes.size())});
        current = h.echo.print;
      }
      Print& print = out_.prints.back();
      if (h.echo.what == What::start) {
        print.start = &h;
      } else if (h.echo.what == What::end) {
        print.end = &h;
      } else if (const auto c = change_of_.find(h.echo.number); c != change_of_.end()) {
        HeardChange& m = print.changes[c->second];
        (h.echo.what == What::leave   ? m.leave
         : h.echo.what == What::there ? m.there
                                      : m.ready) = &h;
      } else if (!schedule_.says(h.echo.number)) {
        ++out_.unknown_echoes;
      }
    }
    find_broken_off(first);
  }

  // One without an end, after which the job was started again: what it has not said, is not
  // missing.
  void find_broken_off(std::size_t first) {
    for (std::size_t p = first; p + 1 < out_.prints.size(); ++p) {
      Print& print = out_.prints[p];
      print.broken_off = print.end == nullptr;
      while (print.broken_off && !print.changes.empty() && !print.changes.back().heard()) {
        print.changes.pop_back();
      }
    }
    const auto nothing = [](const Print& p) { return p.broken_off && p.changes.empty(); };
    out_.prints.erase(
        std::remove_if(out_.prints.begin() + std::ptrdiff_t(first), out_.prints.end(), nothing),
        out_.prints.end());
  }

  // Selects in the order of the job; one that does not fit begins the job anew, or is none of it.
  void find_selects(std::size_t r) {
    out_.by_selects = true;
    const auto& selects = schedule_.selects;
    std::size_t next = selects.size();
    for (const Selected& s : records_[r].selected) {
      if (next >= selects.size() || selects[next].tool != s.select.tool) {
        if (selects.empty() || selects.front().tool != s.select.tool) {
          ++out_.unknown_echoes;
          continue;
        }
        out_.prints.push_back(
            {r, nullptr, nullptr, std::vector<HeardChange>(schedule_.changes.size())});
        next = 0;
      }
      if (const auto change = selects[next].change) out_.prints.back().changes[*change].select = &s;
      ++next;
    }
  }

  void add(Piece piece, const Heard* from, const Heard* to) {
    if (from == nullptr || to == nullptr) {
      ++out_.missing_echoes;
      return;
    }
    if (from->at.part != to->at.part || to->at.time_s < from->at.time_s) return;
    piece.from_s = from->at.time_s;
    piece.to_s = to->at.time_s;
    piece.part = from->at.part;
    out_.pieces.push_back(piece);
  }

  void cut_print(std::size_t p) {
    const Print& print = out_.prints[p];
    if (out_.by_selects && print.start == nullptr && print.end == nullptr) {
      bool echoed = false;
      for (const HeardChange& m : print.changes) echoed = echoed || m.heard();
      if (!echoed) return;
    }
    const Heard* from = print.start;
    double from_job_s = schedule_.start_job_s;
    for (std::size_t i = 0; i < print.changes.size(); ++i) {
      const PlannedChange& c = schedule_.changes[i];
      if (!c.number) continue;
      const HeardChange& m = print.changes[i];
      const bool last_heard = print.broken_off && i + 1 == print.changes.size();
      Piece stretch{.kind = Piece::Kind::stretch, .print = p, .change = i};
      stretch.rests = c.leave_rests;
      stretch.job_s = c.leave_job_s - from_job_s;
      stretch.sequences_s = std::min(c.sequences_before_s, stretch.job_s);
      stretch.wait_s = c.wait_before_s;
      stretch.waits = c.waits_before;
      add(stretch, from, m.leave);
      Piece change{.kind = Piece::Kind::change, .print = p, .change = i};
      change.rests = c.leave_rests;
      change.job_s = c.takes_s();
      if (last_heard && m.there == nullptr && m.ready == nullptr) return;
      add(change, m.leave, m.there);
      from = m.there;
      from_job_s = c.there_job_s;
      if (!c.has_ready) continue;
      if (last_heard && m.ready == nullptr) return;
      Piece wait{.kind = Piece::Kind::wait, .print = p, .change = i};
      wait.job_s = c.ready_job_s - c.there_job_s;
      wait.sequences_s = std::min(c.sequences_after_s, wait.job_s);
      wait.wait_s = c.wait_after_s;
      wait.waits = c.waits_after;
      add(wait, m.there, m.ready);
      from = m.ready;
      from_job_s = c.ready_job_s;
    }
    if (print.broken_off) return;
    Piece last{.kind = Piece::Kind::stretch, .print = p, .change = schedule_.changes.size()};
    last.job_s = schedule_.end_job_s - from_job_s;
    last.sequences_s = std::min(schedule_.sequences_last_s, last.job_s);
    last.rests = false;
    add(last, from, print.end);
  }

  const Schedule& schedule_;
  const std::vector<Journal>& records_;
  std::map<std::uint64_t, std::size_t> change_of_;
  Cut out_;
};

}  // namespace

Cut cut(const Schedule& schedule, const std::vector<Journal>& records) {
  return Cutter(schedule, records).make();
}

}  // namespace forewarm::review
