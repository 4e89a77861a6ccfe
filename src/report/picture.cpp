#include "report/picture.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "report/figures.h"
#include "report/format.h"

namespace forewarm::report {

namespace {

using Stretches = std::vector<Picture::Stretch>;

constexpr std::size_t kMostName = 80;  // characters
constexpr double kSeenS = 0.01;        // shorter stretches are left out

// "A" to "Z", "AA" ...
std::string letters(std::size_t n) {
  std::string out;
  for (++n; n > 0; n = (n - 1) / 26) out.insert(out.begin(), char('A' + (n - 1) % 26));
  return out;
}

// Appends a stretch, to the one before where that goes on.
void add_stretch(Stretches& row, const Picture::Stretch& next) {
  if (!(next.to_s - next.from_s > kSeenS)) return;
  if (!row.empty() && row.back().kind == next.kind && row.back().of == next.of &&
      next.from_s - row.back().to_s < kSeenS) {
    row.back().to_s = next.to_s;
    return;
  }
  row.push_back(next);
}

void widen(std::optional<Picture::Levels>& levels, double temp_c) {
  if (!levels) levels = Picture::Levels{temp_c, temp_c};
  levels->low = std::min(levels->low, temp_c);
  levels->high = std::max(levels->high, temp_c);
}

class Painter {
 public:
  Painter(const Summary& s, const plan::Trace& planned, const plan::Trace& as_sliced)
      : s_(s), planned_(planned), as_sliced_(as_sliced) {
    for (const job::ToolChange& c : s.job.tool_changes) add_tool(c.tool);
    for (const job::ToolUse& use : s.job.uses) add_tool(use.tool);
  }

  Picture run() const {
    const plan::Plan& plan = s_.lookahead;
    Picture out;
    out.end_s = std::max(plan.figures.duration_s, s_.as_sliced.figures.duration_s);
    if (const auto& limit_w = s_.rules.machine.heating_limit_w) {
      out.limit_w = *limit_w - s_.rules.machine.bed_w;
    }
    for (std::size_t h = 0; h < s_.job.heads.size(); ++h) out.heads.push_back(head(h));
    for (const auto& [tool, look] : looks_) {
      const rules::Filament f = s_.rules.filament(tool);
      const bool named = f.name != tool_name(tool, {});
      out.filaments.push_back({tool, named ? clean(f.name, kMostName) : "",
                               clean(f.material, kMostName), letters(look),
                               look % Picture::kLooks});
    }
    out.planned = band(plan, planned_);
    out.sliced = band(s_.as_sliced, as_sliced_);
    for (const job::Place& place : s_.job.layer_starts) {
      out.layers_s.push_back(plan.delays.wall(place));
    }
    return out;
  }

 private:
  void add_tool(int tool) {
    if (tool >= 0) looks_.try_emplace(tool, 0);
    std::size_t n = 0;
    for (auto& [t, look] : looks_) look = n++;
  }

  [[nodiscard]] Picture::Head head(std::size_t h) const {
    Picture::Head out;
    out.name = clean(head_name(s_, h), kMostName);
    double top_c = 0;
    for (const job::ToolUse& use : s_.job.uses) {
      if (use.head != h || !use.work_c) continue;
      widen(out.work_c, *use.work_c);
      const double standby_c = s_.rules.filament(use.tool).standby_c;
      if (standby_c > 0) widen(out.standby_c, standby_c);
    }
    for (const plan::Trace* trace : {&planned_, &as_sliced_}) {
      for (const plan::Trace::Point& p : trace->heaters[h].temperature) {
        top_c = std::max(top_c, p.temp_c);
      }
    }
    out.scale_c = std::ceil(std::max(top_c, 50.0) / 50 + 0.2) * 50;
    return out;
  }

  [[nodiscard]] Picture::Band band(const plan::Plan& plan, const plan::Trace& trace) const {
    const std::size_t count = s_.job.heads.size();
    std::vector<std::vector<const plan::Trace::Parked*>> parked(count);
    for (const plan::Trace::Parked& p : trace.parked) parked[p.head].push_back(&p);
    std::vector<std::vector<const plan::Drive*>> drives(count);
    for (const plan::Drive& d : trace.drives) drives[d.head].push_back(&d);
    std::vector<std::vector<std::size_t>> gaps(count), changes(count);
    for (std::size_t g = 0; g < plan.gaps.size(); ++g) gaps[plan.gaps[g].head].push_back(g);
    for (std::size_t i = 0; i < s_.job.tool_changes.size(); ++i) {
      const std::size_t head = s_.job.tool_changes[i].head;
      if (head < count) changes[head].push_back(i);
    }
    Picture::Band out;
    out.end_s = plan.figures.duration_s;
    for (std::size_t h = 0; h < count; ++h) {
      Stretches row;
      const Use use{s_, plan, changes[h], looks_, h};
      double now_s = begin_s(plan);
      for (std::size_t k = 0; k < parked[h].size(); ++k) {
        const plan::Trace::Parked& p = *parked[h][k];
        use.add(now_s, p.from_s, row);
        const std::int64_t gap = k < gaps[h].size() ? std::int64_t(gaps[h][k]) : -1;
        add_parked(p, gap, trace.heaters[h].target, drives[h], std::max(now_s, p.from_s), row);
        now_s = std::max(now_s, p.to_s);
      }
      if (s_.lookahead.heads[h].uses > 0) use.add(now_s, plan.figures.duration_s, row);
      out.rows.push_back({std::move(row), trace.heaters[h].temperature});
    }
    for (const plan::Trace::Stop& stop : trace.stops) {
      if (stop.to_s - stop.from_s >= kSomeWaitS) out.stops.push_back(stop);
    }
    out.power = power(trace);
    return out;
  }

  // Planning starts there; the start code before it is left as it is.
  double begin_s(const plan::Plan& plan) const {
    const job::Place start = s_.job.start.value_or(job::Place{});
    double first_s = start.time_s + plan.figures.waits.start_code_s;
    for (const plan::GapPlan& gap : plan.gaps) first_s = std::min(first_s, gap.from_s);
    return std::max(first_s, 0.0);
  }

  // Uses of one toolhead, split where the filament changes.
  struct Use {
    const Summary& s;
    const plan::Plan& plan;
    const std::vector<std::size_t>& changes;
    const std::map<int, std::size_t>& looks;
    std::size_t head;

    [[nodiscard]] int kind(int tool) const {
      const auto at = looks.find(tool);
      return Picture::kUse + (at == looks.end() ? 0 : int(at->second));
    }
    void add(double from_s, double to_s, Stretches& row) const {
      if (!(to_s > from_s)) return;
      // The last change before its end says what it prints with.
      const auto later =
          std::upper_bound(changes.begin(), changes.end(), from_s + 1e-6,
                           [&](double t, std::size_t i) { return t < plan.change_at_s[i]; });
      std::int64_t of = later == changes.begin() ? -1 : std::int64_t(*(later - 1));
      int tool = of >= 0 ? s.job.tool_changes[std::size_t(of)].tool : first_tool();
      for (auto it = later; it != changes.end() && plan.change_at_s[*it] < to_s; ++it) {
        add_stretch(row, {from_s, plan.change_at_s[*it], kind(tool), of});
        from_s = std::max(from_s, plan.change_at_s[*it]);
        of = std::int64_t(*it);
        tool = s.job.tool_changes[*it].tool;
      }
      add_stretch(row, {from_s, to_s, kind(tool), of});
    }
    [[nodiscard]] int first_tool() const {
      for (const job::ToolUse& use : s.job.uses) {
        if (use.head == head) return use.tool;
      }
      return -1;
    }
  };

  // By its target, and whether it is driven.
  static void add_parked(const plan::Trace::Parked& p, std::int64_t gap,
                         const std::vector<plan::Trace::Level>& targets,
                         const std::vector<const plan::Drive*>& drives, double from_s,
                         Stretches& row) {
    std::vector<double> cuts{from_s, p.to_s};
    auto level = std::upper_bound(targets.begin(), targets.end(), from_s,
                                  [](double t, const plan::Trace::Level& l) { return t < l.at_s; });
    for (auto l = level; l != targets.end() && l->at_s < p.to_s; ++l) cuts.push_back(l->at_s);
    auto drive = std::lower_bound(drives.begin(), drives.end(), from_s,
                                  [](const plan::Drive* d, double t) { return d->to_s <= t; });
    for (auto d = drive; d != drives.end() && (*d)->from_s < p.to_s; ++d) {
      cuts.push_back(std::clamp((*d)->from_s, from_s, p.to_s));
      cuts.push_back(std::clamp((*d)->to_s, from_s, p.to_s));
    }
    std::sort(cuts.begin(), cuts.end());
    for (std::size_t i = 0; i + 1 < cuts.size(); ++i) {
      const double middle_s = (cuts[i] + cuts[i + 1]) / 2;
      while (level != targets.end() && level->at_s <= middle_s) ++level;
      while (drive != drives.end() && (*drive)->to_s <= middle_s) ++drive;
      const double target_c = level == targets.begin() ? 0 : (level - 1)->target_c;
      const bool driven = drive != drives.end() && (*drive)->from_s <= middle_s;
      const Picture::Kind kind = target_c <= 0              ? Picture::kOff
                                 : driven                   ? Picture::kHeating
                                 : target_c > p.hot_above_c ? Picture::kHold
                                                            : Picture::kStandby;
      add_stretch(row, {cuts[i], cuts[i + 1], kind, gap});
    }
  }

  // Heaters at full drive together, as steps.
  [[nodiscard]] std::vector<Picture::Step> power(const plan::Trace& trace) const {
    std::vector<std::pair<double, double>> changes;
    for (const plan::Drive& d : trace.drives) {
      if (!(d.to_s > d.from_s)) continue;
      const double watts = s_.job.heads[d.head].hotend.power_w;
      changes.emplace_back(d.from_s, watts);
      changes.emplace_back(d.to_s, -watts);
    }
    std::sort(changes.begin(), changes.end());
    std::vector<Picture::Step> out(1);
    for (const auto& [at_s, watts] : changes) {
      if (at_s > out.back().at_s) out.push_back({at_s, out.back().watts});
      out.back().watts += watts;
    }
    return out;
  }

  const Summary& s_;
  const plan::Trace& planned_;
  const plan::Trace& as_sliced_;
  std::map<int, std::size_t> looks_;  // tools that the job uses, in order
};

}  // namespace

Picture picture_of(const Summary& summary, const plan::Trace& planned,
                   const plan::Trace& as_sliced) {
  return Painter(summary, planned, as_sliced).run();
}

}  // namespace forewarm::report
