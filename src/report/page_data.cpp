#include "report/page_data.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <string_view>
#include <vector>

#include "report/figures.h"
#include "report/json_parts.h"

namespace forewarm::report {

namespace {

// What a toolhead does in a stretch; from kUse on, it prints with that filament.
enum Kind : int { kOff, kStandby, kHold, kHeating, kUse };

constexpr std::size_t kLooks = 8;      // colours and hatches of filaments
constexpr std::size_t kMostName = 80;  // characters of a name
constexpr std::size_t kMostReason = 400;

// Ascending or not, as differences in units.
Json differences(const std::vector<double>& values, double unit) {
  Json out = Json::array();
  std::int64_t before = 0;
  for (const double value : values) {
    const std::int64_t now = std::llround(value / unit);
    out.push_back(now - before);
    before = now;
  }
  return out;
}

constexpr double kTimeUnitS = 0.01;

// "A" to "Z", "AA" ...
std::string letters(std::size_t n) {
  std::string out;
  for (++n; n > 0; n = (n - 1) / 26) out.insert(out.begin(), char('A' + (n - 1) % 26));
  return out;
}

class PageData {
 public:
  PageData(const Summary& s, const plan::Trace& planned, const plan::Trace& as_sliced)
      : s_(s), planned_(planned), as_sliced_(as_sliced) {
    for (const job::ToolChange& c : s.job.tool_changes) add_tool(c.tool);
    for (const job::ToolUse& use : s.job.uses) add_tool(use.tool);
  }

  Json run() {
    const plan::Plan& plan = s_.lookahead;
    Json out = json_begun();
    out["end_s"] = rounded(std::max(plan.figures.duration_s, s_.as_sliced.figures.duration_s));
    out["start"] = s_.schedule ? Json(date_time(s_.schedule->start)) : Json(nullptr);
    out["away"] = Json::array();
    if (s_.schedule) {
      for (const Away& away : s_.schedule->away)
        out["away"].push_back({away.from_min, away.to_min});
    }
    const auto& limit_w = s_.rules.machine.heating_limit_w;
    out["limit_w"] = limit_w ? Json(*limit_w - s_.rules.machine.bed_w) : Json(nullptr);
    out["heads"] = heads();
    out["filaments"] = filaments();
    out["planned"] = band(plan, planned_);
    out["sliced"] = band(s_.as_sliced, as_sliced_);
    out["layers"] = Json::array();
    out["gaps"] = gaps(plan);
    out["changes"] = changes(plan);
    return out;
  }

 private:
  void add_tool(int tool) {
    if (tool >= 0) looks_.try_emplace(tool, 0);
    std::size_t n = 0;
    for (auto& [t, look] : looks_) look = n++;
  }

  Json heads() const {
    Json out = Json::array();
    for (std::size_t h = 0; h < s_.job.heads.size(); ++h) {
      double work_c = 0, standby_c = 0, top_c = 0;
      for (const job::ToolUse& use : s_.job.uses) {
        if (use.head != h || !use.work_c) continue;
        work_c = std::max(work_c, *use.work_c);
        const double standby = s_.rules.filament(use.tool).standby_c;
        standby_c = standby_c > 0 ? std::min(standby_c, standby) : standby;
      }
      for (const plan::Trace::Point& p : planned_.heaters[h].temperature) {
        top_c = std::max(top_c, p.temp_c);
      }
      for (const plan::Trace::Point& p : as_sliced_.heaters[h].temperature) {
        top_c = std::max(top_c, p.temp_c);
      }
      out.push_back({{"name", clean(head_name(s_, h), kMostName)},
                     {"scale_c", std::ceil(std::max(top_c, 50.0) / 50 + 0.2) * 50},
                     {"work_c", work_c > 0 ? rounded(work_c) : Json(nullptr)},
                     {"standby_c", standby_c > 0 ? rounded(standby_c) : Json(nullptr)}});
    }
    return out;
  }

  Json filaments() const {
    Json out = Json::array();
    for (const auto& [tool, look] : looks_) {
      const rules::Filament& f = s_.rules.filament(tool);
      out.push_back({{"tool", tool},
                     {"name", clean(f.name, kMostName)},
                     {"material", clean(f.material, kMostName)},
                     {"letter", letters(look)},
                     {"look", look % kLooks}});
    }
    return out;
  }

  // The stretches of a row, one after the other.
  struct Stretches {
    std::vector<double> from_s, to_s;
    std::vector<int> kind;
    std::vector<std::int64_t> ref;
    void add(double from, double to, int what, std::int64_t of) {
      if (!(to - from > kTimeUnitS)) return;
      if (!kind.empty() && kind.back() == what && ref.back() == of &&
          from - to_s.back() < kTimeUnitS) {
        to_s.back() = to;
        return;
      }
      from_s.push_back(from);
      to_s.push_back(to);
      kind.push_back(what);
      ref.push_back(of);
    }
  };

  Json band(const plan::Plan& plan, const plan::Trace& trace) const {
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
    Json out;
    out["heads"] = Json::array();
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
      out["heads"].push_back(row_of(row, trace.heaters[h].temperature));
    }
    out["stops"] = stops(trace);
    out["power"] = power(trace);
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
      return kUse + (at == looks.end() ? 0 : int(at->second));
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
        row.add(from_s, plan.change_at_s[*it], kind(tool), of);
        from_s = std::max(from_s, plan.change_at_s[*it]);
        of = std::int64_t(*it);
        tool = s.job.tool_changes[*it].tool;
      }
      row.add(from_s, to_s, kind(tool), of);
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
      const Kind kind = target_c <= 0              ? kOff
                        : driven                   ? kHeating
                        : target_c > p.hot_above_c ? kHold
                                                   : kStandby;
      row.add(cuts[i], cuts[i + 1], kind, gap);
    }
  }

  static Json row_of(const Stretches& row, const std::vector<plan::Trace::Point>& line) {
    Json out;
    out["from"] = differences(row.from_s, kTimeUnitS);
    out["length"] = Json::array();
    for (std::size_t i = 0; i < row.from_s.size(); ++i) {
      out["length"].push_back(std::llround(row.to_s[i] / kTimeUnitS) -
                              std::llround(row.from_s[i] / kTimeUnitS));
    }
    out["kind"] = row.kind;
    out["ref"] = row.ref;
    std::vector<double> at, temp;
    for (const plan::Trace::Point& p : line) {
      at.push_back(p.at_s);
      temp.push_back(p.temp_c);
    }
    out["at"] = differences(at, kTimeUnitS);
    out["temp"] = differences(temp, 1);
    return out;
  }

  static Json stops(const plan::Trace& trace) {
    Json length = Json::array(), head = Json::array(), kind = Json::array();
    std::vector<double> from_s;
    for (const plan::Trace::Stop& stop : trace.stops) {
      if (stop.to_s - stop.from_s < kSomeWaitS) continue;
      from_s.push_back(stop.from_s);
      length.push_back(std::llround((stop.to_s - stop.from_s) / kTimeUnitS));
      head.push_back(stop.head);
      kind.push_back(int(stop.kind));
    }
    return {{"from", differences(from_s, kTimeUnitS)},
            {"length", std::move(length)},
            {"head", std::move(head)},
            {"kind", std::move(kind)}};
  }

  // Heaters at full drive together, as steps.
  Json power(const plan::Trace& trace) const {
    std::vector<std::pair<double, double>> steps;
    for (const plan::Drive& d : trace.drives) {
      if (!(d.to_s > d.from_s)) continue;
      const double watts = s_.job.heads[d.head].hotend.power_w;
      steps.emplace_back(d.from_s, watts);
      steps.emplace_back(d.to_s, -watts);
    }
    std::sort(steps.begin(), steps.end());
    std::vector<double> at{0}, watts{0};
    for (const auto& [t, change] : steps) {
      if (t > at.back()) {
        at.push_back(t);
        watts.push_back(watts.back());
      }
      watts.back() += change;
    }
    return {{"at", differences(at, kTimeUnitS)}, {"watts", differences(watts, 1)}};
  }

  Json gaps(const plan::Plan& plan) const {
    Json out;
    for (const char* key : {"from_s", "to_s", "toolhead", "treatment", "dip_c", "preheat_at_s",
                            "wait_s", "hot_idle_s", "reason"}) {
      out[key] = Json::array();
    }
    for (const plan::GapPlan& gap : plan.gaps) {
      out["from_s"].push_back(rounded(gap.from_s));
      out["to_s"].push_back(rounded(gap.to_s));
      out["toolhead"].push_back(gap.head);
      out["treatment"].push_back(plan::name_of(gap.treatment));
      out["dip_c"].push_back(rounded(gap.dip_c));
      out["preheat_at_s"].push_back(gap.preheat_at_s ? rounded(*gap.preheat_at_s) : Json(nullptr));
      out["wait_s"].push_back(rounded(gap.wait_s));
      out["hot_idle_s"].push_back(rounded(gap.hot_idle_s));
      out["reason"].push_back(clean(gap.reason, kMostReason));
    }
    return out;
  }

  Json changes(const plan::Plan& plan) const {
    // What is waited for after a change.
    std::vector<double> wait_s(s_.job.tool_changes.size(), 0.0);
    for (const plan::GapPlan& gap : plan.gaps) {
      if (!gap.after || gap.wait_s <= 0) continue;
      const std::size_t select = s_.job.uses[*gap.after].select;
      if (select < wait_s.size()) wait_s[select] += gap.wait_s;
    }
    Json out;
    for (const char* key :
         {"at_s", "line", "kind", "toolhead", "from_tool", "to_tool", "exchange_s", "wait_s"}) {
      out[key] = Json::array();
    }
    for (std::size_t i = 0; i < s_.job.tool_changes.size(); ++i) {
      const job::ToolChange& c = s_.job.tool_changes[i];
      out["at_s"].push_back(rounded(plan.change_at_s[i]));
      out["line"].push_back(c.line);
      out["kind"].push_back(job::name_of(c.kind));
      out["toolhead"].push_back(c.head == job::kNone ? -1 : std::int64_t(c.head));
      out["from_tool"].push_back(c.from_tool);
      out["to_tool"].push_back(c.tool);
      out["exchange_s"].push_back(rounded(c.exchange_s));
      out["wait_s"].push_back(rounded(wait_s[i]));
    }
    return out;
  }

  const Summary& s_;
  const plan::Trace& planned_;
  const plan::Trace& as_sliced_;
  std::map<int, std::size_t> looks_;  // tools that the job uses, in order
};

}  // namespace

std::string page_data(const Summary& summary, const plan::Trace& planned,
                      const plan::Trace& as_sliced) {
  const std::string text = PageData(summary, planned, as_sliced)
                               .run()
                               .dump(-1, ' ', false, Json::error_handler_t::replace);
  // "</script>" would end the block, and "<!--" begin something else; < is only within strings.
  std::string out;
  out.reserve(text.size());
  for (const char c : text) {
    if (c == '<') {
      out += "\\u003c";
    } else {
      out += c;
    }
  }
  return out;
}

}  // namespace forewarm::report
