#include "plan/sequences.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace forewarm::plan {

namespace {

using job::Job;
using job::kNone;

constexpr double kEndlessS = 1e12;

class Sequences {
 public:
  Sequences(const Job& job, const rules::Rules& rules, std::vector<Transition>& transitions)
      : job_(job), rules_(rules), transitions_(transitions) {}

  Result<PlacedSequences> run() {
    find_targets();
    std::vector<Transition*> first(job_.heads.size(), nullptr);  // of a chain that is not over
    parked_.resize(job_.heads.size());
    std::size_t gap = 0;
    for (Transition& b : transitions_) {
      if (first[b.head] == nullptr) first[b.head] = &b;
      if (b.parked) parked_[b.head].push_back(gap++);
      // In a visit in which the job only waits for the heater, filament stays as it was put away.
      const bool waits = b.after && job_.uses[*b.after].kind == job::ToolUse::Kind::waited;
      if (waits && !b.exchange) continue;
      between(*std::exchange(first[b.head], nullptr), b);
      parked_[b.head].clear();
      if (error_) return std::move(*error_);
    }
    return std::move(out_);
  }

 private:
  // From the end of one use to the next that moves or exchanges filament: as a rule one break.
  void between(Transition& first, Transition& last) {
    if (!first.before) {
      // Loaded, but never fed: what comes in is charged all the same.
      if (last.exchange) arrives(last, rules_.filament(last.tool).after_exchange);
    } else if (!last.after) {
      last_use(first);
    } else if (last.exchange) {
      exchange(first, last);
    } else if (first.parked) {
      park(first, last);
    }
  }

  void park(Transition& first, Transition& last) {
    const rules::Toolhead& head = job_.heads[first.head];
    // Put away by the start code, it is as the start code left it.
    const job::Place at = put_away(first);
    const rules::Sequence* after = rules_.sequence(head.after_pick);
    const bool given = !head.before_park.empty() || (after != nullptr && after->makes_up());
    if (!given || at.offset <= job_.start->offset) return;
    const double hot_c = parting_c(first);
    first.leaving = put(first, head.before_park, at, outgoing(first), hot_c, hot_c,
                        fmt::format("T{} comes back with it", last.tool), Kind::parting);
    if (printed_c(first) > head.hotend.ambient_c) arrives(last, head.after_pick);
  }

  void exchange(Transition& first, Transition& last) {
    const int out = outgoing(first);
    const std::string& name = rules_.filament(out).before_exchange;
    const std::string why = fmt::format("T{} is next in it", last.tool);
    if (!first.parked) {
      first.leaving =
          put(first, name, first.to, out, first.out_c, first.ready_c, why, Kind::guarded);
    } else if (put_away(first).offset > job_.start->offset) {
      const double hot_c = parting_c(first);
      first.leaving = put(first, name, put_away(first), out, hot_c, hot_c, why, Kind::parting);
    }
    arrives(last, rules_.filament(last.tool).after_exchange);
  }

  void last_use(Transition& b) {
    if (b.from.offset <= job_.start->offset) return;
    const int tool = outgoing(b);
    const double hot_c = parting_c(b);
    b.leaving = put(b, rules::at_last_use(job_.heads[b.head], rules_.filament(tool)), b.from, tool,
                    hot_c, hot_c, "its last use is over", Kind::parting);
  }

  void arrives(Transition& b, const std::string& name) {
    const std::string why = b.exchange ? fmt::format("T{} came in", b.tool) : "it is back";
    b.arriving = put(b, name, b.ready, b.tool, b.work_c, b.work_c, why, Kind::arriving);
  }

  // The job's targets that stay, by toolhead.
  void find_targets() {
    std::vector<char> disabled(job_.targets.size(), 0);
    for (const Transition& b : transitions_) {
      for (const std::size_t t : b.disabled) disabled[t] = 1;
    }
    targets_.resize(job_.heads.size());
    for (std::size_t t = 0; t < job_.targets.size(); ++t) {
      if (disabled[t] == 0 && job_.targets[t].has_temp) {
        targets_[job_.targets[t].head].push_back(t);
      }
    }
  }

  [[nodiscard]] static job::Place put_away(const Transition& b) {
    return b.put_away.value_or(b.from);
  }

  [[nodiscard]] double printed_c(const Transition& b) const {
    return job_.uses[*b.before].last_c.value_or(0);
  }
  // Whether the job has given it a lower target since it was used.
  [[nodiscard]] bool lowered(const Transition& b) const {
    const job::Target* last = last_target(b);
    return last != nullptr && last->at.offset >= job_.uses[*b.before].last_end &&
           last->temp_c < printed_c(b);
  }
  // How hot it is where it is put away: what it printed at, or what the job has set it to since.
  [[nodiscard]] double parting_c(const Transition& b) const {
    const job::Target* last = last_target(b);
    if (last == nullptr || last->at.offset < job_.uses[*b.before].last_end) return printed_c(b);
    return std::max(printed_c(b), last->temp_c);
  }
  // The job's last target that stays before it is put away; nullptr: none.
  [[nodiscard]] const job::Target* last_target(const Transition& b) const {
    const std::vector<std::size_t>& all = targets_[b.head];
    const auto after = std::lower_bound(
        all.begin(), all.end(), put_away(b).offset,
        [this](std::size_t t, std::uint64_t o) { return job_.targets[t].at.offset < o; });
    return after == all.begin() ? nullptr : &job_.targets[*(after - 1)];
  }

  [[nodiscard]] int outgoing(const Transition& b) const { return job_.uses[*b.before].tool; }

  enum class Kind : std::uint8_t { parting, guarded, arriving };

  std::size_t put(const Transition& b, const std::string& name, job::Place at, int tool,
                  double work_c, double after_c, const std::string& why, Kind kind) {
    const rules::Sequence* sequence = rules_.sequence(name);
    if (sequence == nullptr || sequence->steps.empty() || error_) return kNone;
    const rules::Toolhead& head = job_.heads[b.head];
    // Fed cold, by start code: there is nothing in it to shape or to pull.
    if (kind == Kind::parting && printed_c(b) <= head.hotend.ambient_c) return kNone;
    const job::Modal* modal = job_.modal_at(at.offset);
    if (modal == nullptr || (kind == Kind::parting && !b.hot_at_from)) {
      refuse(Error{Error::Kind::refused,
                   fmt::format("there is no place for the sequence \"{}\" here", name),
                   {},
                   {},
                   {},
                   {},
                   "the line both feeds and selects: put the two on lines of their own"},
             at.offset);
      return kNone;
    }
    job::StepQuestion q;
    q.state = modal->state;
    q.limits = job_.limits[modal->limits];
    q.time_scale = rules_.motion.time_scale;
    q.travel_mm = rules_.machine.travel_mm;
    q.work_c = work_c;
    q.after_c = after_c;
    q.wait_after = kind != Kind::parting;
    q.max_c = head.max_c;
    // What pushes waits first, though as a rule it is hot, and so does all where the job has
    // lowered it of the heater since; waiting stops the machine as well.
    const bool sure = kind == Kind::parting && (pushes(*sequence) || lowered(b));
    q.stop_first = kind == Kind::parting && !sure;
    const job::ToolChange* select = kind == Kind::arriving ? nullptr : select_at(at.offset);
    q.lift_lasts = select != nullptr;
    const bool makes_up = kind == Kind::arriving && sequence->makes_up();
    // What it could come to at the most, so that nothing is refused later.
    if (makes_up) q.hot_s = kEndlessS;
    auto block = job::lines_of(*sequence, q);
    if (!block) {
      refuse(std::move(block.error()), at.offset);
      return kNone;
    }
    if (sure) {
      job::StepLine wait;
      wait.kind = job::StepLine::Kind::wait;
      wait.temp_c = work_c;
      block->lines.insert(block->lines.begin(), wait);
    }
    job::Place lower_at;
    job::StepBlock lower;
    if (block->lifted_mm > 0) {
      lower_at = {select->end_offset, select->end_s};
      const job::Modal* after = job_.modal_at(lower_at.offset);
      q.state = after->state;
      q.limits = job_.limits[after->limits];
      auto lines = job::lowering_lines(block->lifted_mm, q);
      if (!lines) {
        refuse(std::move(lines.error()), at.offset);
        return kNone;
      }
      lower = std::move(*lines);
    }
    std::size_t make_up = kNone;
    if (makes_up) {
      make_up = out_.make_ups.size();
      out_.make_ups.push_back({out_.steps.size(), parked_[b.head], q});
    }
    out_.steps.push_back({at, b.head, tool, name, why, b.exchange, kind == Kind::arriving,
                          std::move(*block), lower_at, std::move(lower), make_up});
    return out_.steps.size() - 1;
  }

  // The select whose line begins there; its state after it is known.
  [[nodiscard]] const job::ToolChange* select_at(std::uint64_t offset) const {
    const auto at =
        std::lower_bound(job_.tool_changes.begin(), job_.tool_changes.end(), offset,
                         [](const job::ToolChange& s, std::uint64_t o) { return s.at.offset < o; });
    const bool here = at != job_.tool_changes.end() && at->at.offset == offset;
    return here && job_.modal_at(at->end_offset) != nullptr ? &*at : nullptr;
  }

  static bool pushes(const rules::Sequence& sequence) {
    return std::any_of(sequence.steps.begin(), sequence.steps.end(), [](const rules::Step& s) {
      return s.action == rules::Step::Action::feed && s.amount > 0;
    });
  }

  // With the line of the select at, or the last one before, `offset`.
  void refuse(Error e, std::uint64_t offset) {
    const auto after =
        std::upper_bound(job_.tool_changes.begin(), job_.tool_changes.end(), offset,
                         [](std::uint64_t o, const job::ToolChange& s) { return o < s.at.offset; });
    e.file = job_.name;
    if (after != job_.tool_changes.begin()) e.line = (after - 1)->line;
    error_ = std::move(e);
  }

  const Job& job_;
  const rules::Rules& rules_;
  std::vector<Transition>& transitions_;
  std::vector<std::vector<std::size_t>> targets_;
  std::vector<std::vector<std::size_t>> parked_;  // by toolhead: its gaps since it was used
  PlacedSequences out_;
  std::optional<Error> error_;
};

}  // namespace

Result<PlacedSequences> place_sequences(const job::Job& job, const rules::Rules& rules,
                                        std::vector<Transition>& transitions) {
  return Sequences(job, rules, transitions).run();
}

}  // namespace forewarm::plan
