#include "plan/transitions.h"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>

#include "plan/lead_time.h"
#include "plan/pauses.h"

namespace forewarm::plan {

namespace {

using job::Job;
using job::kNone;
using job::ToolChange;
using job::ToolUse;

class Layout {
 public:
  Layout(const Job& job, const rules::Rules& rules, rules::Policy policy)
      : job_(job),
        rules_(rules),
        lead_time_(rules.gap),
        splits_(splits_at_pauses(job, rules, policy)) {}

  Result<std::vector<Transition>> run() {
    by_head_.resize(job_.heads.size());
    for (std::size_t t = 0; t < job_.targets.size(); ++t) {
      by_head_[job_.targets[t].head].push_back(t);
    }
    leaves_.assign(job_.tool_changes.size(), kNone);
    for (std::size_t i = job_.tool_changes.size(); i-- > 0;) {
      const ToolChange& s = job_.tool_changes[i];
      const bool last_one = i + 1 == job_.tool_changes.size();
      leaves_[i] = s.head != s.from_head ? i : last_one ? kNone : leaves_[i + 1];
    }
    transitions_.reserve(job_.uses.size() + job_.heads.size());
    std::vector<std::optional<std::size_t>> last(job_.heads.size());
    for (std::size_t k = 0; k < job_.uses.size(); ++k) {
      const ToolUse& s = job_.uses[k];
      if (s.first.offset > job_.start->offset) {
        if (auto status = heated(s, s.work_c); !status) return std::move(status.error());
        if (auto status = between(last[s.head], k); !status) return std::move(status.error());
      } else if (s.first.offset == job_.start->offset) {
        first_use(k);
      }
      last[s.head] = k;
      // What is pulled on the way out separates no wait from the next use.
      if (s.moves_filament())
        moved_end_ = s.kind == ToolUse::Kind::fed ? s.extruded_end : s.last_end;
    }
    for (std::size_t h = 0; h < job_.heads.size(); ++h) {
      if (auto status = after_last(h, last[h]); !status) return std::move(status.error());
    }
    return std::move(transitions_);
  }

 private:
  Error refused(std::uint64_t line, std::string message, std::string hint) const {
    return {Error::Kind::refused, std::move(message), job_.name, line, 0, "", std::move(hint)};
  }

  Status heated(const ToolUse& s, std::optional<double> temp) const {
    const rules::Toolhead& head = job_.heads[s.head];
    if (!temp || *temp <= head.hotend.ambient_c) {
      return refused(s.first_line,
                     fmt::format("T{} feeds filament here, but the job has not given toolhead "
                                 "\"{}\" a temperature",
                                 s.tool, head.name),
                     "if it does so in its own way, say how with [[recognise]] as = \"set\" or "
                     "\"wait\"");
    }
    if (*temp >= head.hotend.full_drive_c) {
      return refused(s.first_line,
                     fmt::format("T{} works at {:.0f} C, which the heater of toolhead \"{}\" never "
                                 "reaches",
                                 s.tool, *temp, head.name),
                     "check `full_drive_c` in the rule file");
    }
    return success();
  }

  // The select by which `use`'s toolhead is put away after it, if it is.
  [[nodiscard]] std::size_t parked_by(const ToolUse& use) const {
    auto at = std::lower_bound(
        job_.tool_changes.begin(), job_.tool_changes.end(), use.last_end,
        [](const ToolChange& s, std::uint64_t offset) { return s.end_offset < offset; });
    // The line on which it last feeds may select as well: perhaps it away, perhaps it.
    while (at != job_.tool_changes.end() && at->from_head != use.head) ++at;
    return at == job_.tool_changes.end() ? kNone
                                         : leaves_[std::size_t(at - job_.tool_changes.begin())];
  }

  void set_from(Transition& b, std::optional<std::size_t> before) const {
    b.before = before;
    b.from = *job_.start;
    if (!before) return;
    const ToolUse& s = job_.uses[*before];
    const std::size_t park = parked_by(s);
    job::Place end{s.last_end, s.last_end_s};
    if (park != kNone && job_.tool_changes[park].at.offset >= s.last_end)
      end = job_.tool_changes[park].at;
    if (end.offset <= b.from.offset) return;
    b.from = end;
    b.hot_at_from = park == kNone || job_.tool_changes[park].at.offset >= s.last_end;
    b.arrived_at_from = !s.moves_filament() && end.offset == s.last_end;
  }

  const rules::Filament& filament(int tool) {
    const auto known = filaments_.find(tool);
    if (known != filaments_.end()) return known->second;
    return filaments_.emplace(tool, rules_.filament(tool)).first->second;
  }

  void of_filament(Transition& b, int tool) {
    const rules::Filament& f = filament(tool);
    b.standby_c = std::min(f.standby_c, job_.heads[b.head].max_c);
    b.max_hot_idle_s = f.max_hot_idle_s;
  }

  // How hot the job as it is has the heater at its `t`th target, which a use of it may precede.
  [[nodiscard]] double heater_as_sliced_c(std::size_t t, std::optional<std::size_t> before) const {
    const job::Target& asked = job_.targets[t];
    const thermal::Hotend& hotend = job_.heads[asked.head].hotend;
    thermal::HeaterState heater(hotend, hotend.ambient_c);
    double now_s = 0;
    std::uint64_t from = 0;
    if (before) {
      const ToolUse& s = job_.uses[*before];
      const double hot_c = std::max(s.hot_c, s.last_c.value_or(0));
      heater = thermal::HeaterState(hotend, std::max(hotend.ambient_c, hot_c));
      heater.set_target(s.last_c.value_or(0));
      now_s = s.last_end_s;
      from = s.last_end;
    }
    const std::vector<std::size_t>& list = by_head_[asked.head];
    for (auto at = first_target(list, from); at != list.end() && *at < t; ++at) {
      const job::Target& target = job_.targets[*at];
      heater.advance(std::max(0.0, target.at.time_s - now_s));
      now_s = std::max(now_s, target.at.time_s);
      if (target.has_temp) heater.set_target(target.temp_c);
    }
    heater.advance(std::max(0.0, asked.at.time_s - now_s));
    return heater.temperature_c();
  }

  // M109 R may wait for heating as well; how hot the heater is tells which it is there for.
  [[nodiscard]] bool is_cool_down(std::size_t t, std::optional<std::size_t> before) const {
    const job::Target& target = job_.targets[t];
    return target.cooling && target.has_temp && target.temp_c > 0 &&
           target.temp_c < heater_as_sliced_c(t, before) - 1;
  }

  [[nodiscard]] std::vector<std::size_t>::const_iterator first_target(
      const std::vector<std::size_t>& list, std::uint64_t offset) const {
    return std::lower_bound(
        list.begin(), list.end(), offset,
        [this](std::size_t t, std::uint64_t o) { return job_.targets[t].at.offset < o; });
  }

  // Targets of the head after `after` (offset) and before `before`, once planning has started.
  template <class Visit>
  void for_targets(std::size_t head, std::uint64_t after, std::uint64_t before, Visit visit) const {
    const auto& list = by_head_[head];
    auto at = first_target(list, std::max(after, job_.start->offset));
    for (; at != list.end() && job_.targets[*at].at.offset < before; ++at) visit(*at);
  }

  // The use that the start code leads up to: heated there, so all it may lack is a wait.
  void first_use(std::size_t next) {
    const ToolUse& s = job_.uses[next];
    if (!s.work_c || *s.work_c <= job_.heads[s.head].hotend.ambient_c) return;
    const job::Target* last = nullptr;
    for (const std::size_t t : by_head_[s.head]) {
      if (job_.targets[t].at.offset < s.first.offset) last = &job_.targets[t];
    }
    if (last != nullptr && last->waits) return;
    Transition b;
    b.head = s.head;
    b.parked = false;
    b.after = next;
    b.tool = s.tool;
    b.from = b.to = s.first;
    b.work_c = b.ready_c = b.approach_c = *s.work_c;
    b.deadlines.push_back({s.first, b.work_c, true});
    transitions_.push_back(std::move(b));
  }

  Status between(std::optional<std::size_t> before, std::size_t next) {
    const ToolUse& s = job_.uses[next];
    Transition b;
    b.head = s.head;
    set_from(b, before);
    b.after = next;
    b.tool = s.tool;
    b.work_c = b.ready_c = b.approach_c = *s.work_c;
    const ToolChange* select = s.select == kNone ? nullptr : &job_.tool_changes[s.select];
    job::Place begins = select != nullptr ? select->at : s.first;
    job::Place picked = select != nullptr ? job::Place{select->end_offset, select->end_s} : s.first;
    if (begins.offset < job_.start->offset) begins = picked = *job_.start;
    b.to = begins;
    b.exchange = select != nullptr && select->exchanges() && begins.offset == select->at.offset;
    if (before) {
      const std::size_t park = parked_by(job_.uses[*before]);
      b.parked = park != kNone && job_.tool_changes[park].at.offset < begins.offset;
    }
    // The filament that is in the toolhead meanwhile.
    int inside = s.tool;
    if (b.exchange) inside = select->out_tool;
    of_filament(b, inside);
    if (b.exchange) {
      const std::optional<double> out = before ? job_.uses[*before].last_c : s.work_c;
      b.out_c = out && *out > job_.heads[b.head].hotend.ambient_c ? *out : *s.work_c;
      b.out_c = filament(inside).exchange_c.value_or(b.out_c);
      b.ready_c =
          rules::exchange_temperature_c(filament(inside), b.out_c, filament(s.tool), b.work_c);
      if (auto status = heated(s, b.out_c); !status) return status;
      if (auto status = heated(s, b.ready_c); !status) return status;
      // As loaded it is not; but filaments may have moved to other toolheads since.
      const double max_c = job_.heads[b.head].max_c;
      if (b.ready_c > max_c) {
        return refused(select->line,
                       fmt::format("an exchange at {:g} C is above max_c = {:g} of toolhead "
                                   "\"{}\"",
                                   b.ready_c, max_c, job_.heads[b.head].name),
                       "see exchange_c in the rule file");
      }
    }

    if (splits_ && b.parked) b.pause = last_pause(job_, b);
    if (auto status = sort_targets(b, s, begins, picked); !status) return status;
    if (b.pause) split_at_pause(job_, rules_, lead_time_, b);
    transitions_.push_back(std::move(b));
    return success();
  }

  // What the job says to a heater between two uses, and what is left of it.
  struct OwnTargets {
    std::vector<std::size_t> kept;       // its waits that stay
    std::vector<std::size_t> not_alone;  // what has to be disabled, but does more
    bool raised = false;                 // to ready_c before an exchange
    // A target that stays though it is for something else, and where the last that stays ends.
    bool disturbed = false;
    job::Place last_set;
  };
  struct Between {
    job::Place begins, picked;  // the select's line, and its end
    bool feeds = false;         // filament moves, of the job's or a sequence's
  };

  // Which of the job's targets between two uses stay, and where a wait is due.
  Status sort_targets(Transition& b, const ToolUse& s, job::Place begins, job::Place picked) {
    OwnTargets own = own_targets(b, s, begins);
    // Where no filament moves, a wait for it would stand where the toolhead is put away again.
    const bool feeds =
        s.moves_filament() || (b.exchange && !filament(s.tool).after_exchange.empty());
    const Between between{begins, picked, feeds};
    set_approach(b, s, own, between);
    add_deadlines(b, own, between);
    if (!own.not_alone.empty()) {
      return refused(job_.targets[own.not_alone.front()].line,
                     "a target in a gap shares its line with another command",
                     "put the commands on lines of their own");
    }
    cool_down_parked(b);
    return success();
  }

  void disable(std::size_t t, Transition& b, OwnTargets& own) const {
    if (!job_.targets[t].alone) own.not_alone.push_back(t);
    b.disabled.push_back(t);
  }

  // The plan gives the targets itself. A wait stays if no movement of filament separates it from
  // the use; a wait for cooling down always stays.
  OwnTargets own_targets(Transition& b, const ToolUse& s, job::Place begins) const {
    OwnTargets own;
    const std::uint64_t gap_start = b.before ? job_.uses[*b.before].last_end : 0;
    for_targets(b.head, gap_start, s.first.offset, [&](std::size_t t) {
      const job::Target& target = job_.targets[t];
      const bool before_select = target.at.offset < begins.offset;
      if (before_select && is_cool_down(t, b.before)) {
        // What was waited for before has cooled down by the use.
        if (target.at.offset >= b.from.offset) forget_waits(b, own);
        b.cool_downs.push_back(t);
        return;
      }
      const bool in_gap = !b.parked || target.at.offset >= b.from.offset;
      // What is waited for before a pause would wait hot over it.
      const bool over_pause =
          b.pause && in_gap && target.alone && target.at.offset < job_.pauses[*b.pause].at.offset;
      if (target.waits && !over_pause && (!in_gap || target.at.offset >= moved_end_)) {
        own.kept.push_back(t);
        own.raised |= in_gap && before_select && target.has_temp && target.temp_c >= b.ready_c;
        return;
      }
      // While it stays mounted for the exchange, only what would make it cold there is removed.
      const bool dips = target.alone && target.temp_c < b.work_c;
      if (!b.parked && (before_select ? target.temp_c >= b.ready_c : !dips)) {
        own.raised |= before_select;
        if (target.temp_c != b.work_c) own.disturbed = true;
        if (own.disturbed) own.last_set = {target.end_offset, target.at.time_s};
        return;
      }
      disable(t, b, own);
    });
    return own;
  }

  void forget_waits(Transition& b, OwnTargets& own) const {
    for (const std::size_t t : own.kept) {
      const job::Target& target = job_.targets[t];
      if (target.alone && target.at.offset >= b.from.offset) disable(t, b, own);
    }
    own.kept.clear();
  }

  void set_approach(Transition& b, const ToolUse& s, const OwnTargets& own,
                    const Between& between) {
    if (own.raised) b.approach_c = b.ready_c;
    if (!b.exchange || own.raised) return;
    const auto after = std::find_if(own.kept.begin(), own.kept.end(), [&](std::size_t t) {
      return job_.targets[t].at.offset >= between.begins.offset;
    });
    const double next_s =
        after == own.kept.end() ? between.picked.time_s : job_.targets[*after].at.time_s;
    const bool heats_on = between.feeds || s.kind == ToolUse::Kind::waited;
    b.approach_c = approach_c(b, s, heats_on, next_s - between.begins.time_s);
  }

  // The job's waits that stay, a guard before an exchange, and a wait for the working temperature
  // where none of them ends with it.
  void add_deadlines(Transition& b, OwnTargets& own, const Between& between) const {
    b.deadlines.reserve(own.kept.size() + 2);
    bool guarded = false;
    const auto guard = [&] {
      if (b.exchange && !guarded) {
        b.deadlines.push_back({between.begins, b.approach_c, true, true});
      }
      guarded = true;
    };
    bool last_is_right = false;
    job::Place last = between.picked;
    for (const std::size_t t : own.kept) {
      const job::Target& target = job_.targets[t];
      if (b.parked && target.at.offset < b.from.offset) continue;  // it was put away since
      const bool before_exchange = b.exchange && target.at.offset < between.begins.offset;
      if (!before_exchange) guard();
      // A wait for less would let the target down and up again on the way to the use: the plan's
      // takes its place, or, before an exchange, the one that guards it.
      const double wanted = before_exchange ? b.approach_c : b.work_c;
      const bool for_less = target.has_temp && target.temp_c < wanted && target.temp_c > 0;
      if (for_less && target.alone && (before_exchange || !is_cool_down(t, b.before))) {
        disable(t, b, own);
        if (before_exchange) continue;
        b.deadlines.push_back({target.at, wanted, true});
        last_is_right = true;
      } else {
        b.deadlines.push_back(
            {target.at, target.has_temp ? target.temp_c : wanted, false, false, t});
        // After an exchange the wait must stand behind it; before the select it may have been for
        // the other filament.
        last_is_right = target.has_temp && target.temp_c == b.work_c && !before_exchange;
      }
      if (target.end_offset > last.offset) last = {target.end_offset, target.at.time_s};
    }
    guard();
    if (own.disturbed && own.last_set.offset > last.offset) {
      last = own.last_set;
      last_is_right = false;
    }
    if (!last_is_right && between.feeds) b.deadlines.push_back({last, b.work_c, true});
    b.ready = last;
  }

  // The target with which the select of an exchange is reached. What the exchange needs is enough
  // where it takes long enough to heat on to what comes after; where it is mounted, it prints until
  // then.
  [[nodiscard]] double approach_c(const Transition& b, const ToolUse& s, bool heats_on,
                                  double has_s) {
    const double guard_c = std::max(b.out_c, filament(s.tool).exchange_c.value_or(0));
    if (!b.parked || !heats_on || guard_c >= b.ready_c) return std::min(guard_c, b.ready_c);
    const ToolChange& select = job_.tool_changes[s.select];
    const double changes_s = select.park_s + select.pick_s + select.exchange_s;
    const double lead_s = lead_time_.lead_s(
        job_.heads[b.head].hotend, guard_c, true, b.work_c, changes_s,
        variance_of(rules_.gap, select.park_s > 0, select.pick_s > 0, select.exchange_s > 0));
    return lead_s <= has_s ? guard_c : b.ready_c;
  }

  // Waits for cooling down while it is parked: until then it is off, and the gap begins after them.
  void cool_down_parked(Transition& b) const {
    if (!b.parked) return;
    for (const std::size_t t : b.cool_downs) {
      const job::Target& target = job_.targets[t];
      if (target.at.offset < b.from.offset) continue;  // before it was put away
      if (!b.put_away) b.put_away = b.from;
      b.from = {target.end_offset, target.at.time_s};
    }
  }

  // After a last use it is not hot for nothing until it is put away.
  void last_from(Transition& b, const ToolUse& s) const {
    const job::Place end{s.last_end, s.last_end_s};
    if (end.offset < job_.start->offset || b.from.offset <= end.offset) return;
    constexpr double kAtOnceS = 5;
    bool waits = b.from.time_s - end.time_s > kAtOnceS;
    for_targets(b.head, end.offset, b.from.offset,
                [&](std::size_t t) { waits |= job_.targets[t].waits; });
    if (!waits) return;
    b.from = end;
    b.arrived_at_from = !s.moves_filament();
  }

  // Nothing comes after: off, whatever the job says later.
  Status after_last(std::size_t head, std::optional<std::size_t> last) {
    Transition b;
    b.head = head;
    set_from(b, last);
    b.to = {job_.bytes, job_.duration_s};
    if (last) last_from(b, job_.uses[*last]);
    b.tool = last ? job_.uses[*last].tool : job_.heads[head].tools.front();
    of_filament(b, b.tool);
    bool heated = last.has_value();
    for (const std::size_t t : by_head_[head]) heated |= job_.targets[t].temp_c > 0;
    if (!heated) return success();
    Status bad = success();
    // What it was at before, where it was ever used or heated.
    double used_c = 0;
    if (last) {
      const ToolUse& s = job_.uses[*last];
      used_c = s.last_c.value_or(0);
      if (used_c <= job_.heads[head].hotend.ambient_c) used_c = s.hot_c;
      if (s.kind != ToolUse::Kind::fed) used_c = std::max(used_c, s.work_c.value_or(0));
      for_targets(head, s.extruded_end, s.last_end,
                  [&](std::size_t t) { used_c = std::max(used_c, job_.targets[t].temp_c); });
    } else {
      for (const std::size_t t : by_head_[head]) {
        if (job_.targets[t].at.offset >= job_.start->offset) break;
        used_c = std::max(used_c, job_.targets[t].temp_c);
      }
    }
    for_targets(head, last ? job_.uses[*last].last_end : 0, UINT64_MAX, [&](std::size_t t) {
      const job::Target& target = job_.targets[t];
      // What asks for nothing more stays, and what is waited for while it is still mounted.
      if (!target.has_temp || target.temp_c <= 0) return;
      if (target.waits && target.at.offset < b.from.offset) return;
      if (target.cooling && target.temp_c < used_c) {
        b.cool_downs.push_back(t);
        return;
      }
      if (!target.alone) {
        bad = refused(target.line, "a heater is left on by a line with another command on it",
                      "put the commands on lines of their own");
      }
      b.disabled.push_back(t);
    });
    transitions_.push_back(std::move(b));
    return bad;
  }

  const Job& job_;
  const rules::Rules& rules_;
  LeadTimeModel lead_time_;
  bool splits_;                                    // gaps, at pauses
  std::vector<std::vector<std::size_t>> by_head_;  // targets
  // For each select the first one, from it on, that puts away what is mounted there.
  std::vector<std::size_t> leaves_;
  std::uint64_t moved_end_ = 0;                         // of the uses so far
  std::unordered_map<int, rules::Filament> filaments_;  // by tool, looked up once
  std::vector<Transition> transitions_;
};

}  // namespace

Result<std::vector<Transition>> lay_out(const Job& job, const rules::Rules& rules,
                                        rules::Policy policy) {
  return Layout(job, rules, policy).run();
}

}  // namespace forewarm::plan
