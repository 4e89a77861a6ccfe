// A small job and its four plans, made by hand, for what the reports say of them.
#pragma once

#include <cmath>
#include <string>

#include "report/picture.h"
#include "report/report.h"

namespace forewarm::report {

struct Sample {
  job::Job job;
  rules::Rules rules;
  plan::Plan as_sliced, timers, hold, lookahead;
  std::string path = "posts.gcode";

  // Two toolheads; "left" is used, parked, used again by two filaments; "right" once in between.
  Sample() {
    rules.machine.name = "bench machine";
    rules.file = "bench.toml";
    rules.hash = 0x123456789abcdef;
    rules.toolheads.resize(2);
    rules.toolheads[0].name = "left";
    rules.toolheads[0].tools = {0, 2};
    rules.toolheads[1].name = "right";
    rules.toolheads[1].tools = {1};
    filament(0, "granite", 1.24);
    filament(1, "signal red", 1.27);

    job.bytes = 4'200;
    job.lines = 210;
    job.layers = 2;
    job.motion_s = 3'300;
    job.duration_s = 3'500;
    job.heads = rules.toolheads;
    job.start = job::Place{100, 60};
    select(job::ChangeKind::first, 60, 0, 0);
    select(job::ChangeKind::toolhead, 1020, 1, 1);
    select(job::ChangeKind::both, 2055, 0, 2);
    select(job::ChangeKind::redundant, 2250, 0, 2);
    select(job::ChangeKind::filament, 2310.5, 0, 0);
    job.materials = {{0, 1000, 100, 0}, {1, 500, 50, 0}, {2, 0, 0, 1, 100}};
    use(0, 0, 150, 1000);
    use(1, 1, 1100, 2000);
    use(0, 2, 2100, 4000);

    set(as_sliced, rules::Policy::as_sliced, {4000, 500.25, 1200, 80.5, 2, 100});
    set(timers, rules::Policy::timers, {3900, 400, 900, 70, 4, 100});
    set(hold, rules::Policy::hold, {3540, 40, 2400, 75, 2, 100});
    set(lookahead, rules::Policy::lookahead, {3600, 72.55, 130.5, 61.2345678, 3, 50});
    lookahead.figures.waits = {60, 12.55, 0, 0, 0};
    lookahead.heads = {{2, 0, 1, 1, 90.5, 40, 72.55, {}}, {1, 1, 0, 1, 40, 21.2345678, 0, {}}};

    gap(1, {}, 1, 120, 1200, plan::Treatment::hold, 207.5, {}, 0, 40, "parked, would dip only 2 C");
    gap(0, 0, 2, 1200, 2400, plan::Treatment::standby, 170, 2340, 12.55, 90.5,
        "parked 1200 s, preheat 60 s ahead");
    gap(1, 1, {}, 2400, 3600, plan::Treatment::off, 23, {}, 0, 0, "no further use");
    lookahead.gaps[1].least_wait_s = 10;
    lookahead.gaps[1].least_hot_idle_s = 70.25;
    lookahead.gaps[0].least_hot_idle_s = 30;
  }

  [[nodiscard]] Summary summary() const {
    constexpr std::size_t kWide = 200;  // no table has to be made narrower
    return {path, job, rules, as_sliced, timers, hold, lookahead, {}, kWide};
  }

  void gap(std::size_t head, std::optional<std::size_t> before, std::optional<std::size_t> after,
           double from_s, double to_s, plan::Treatment treatment, double dip_c,
           std::optional<double> preheat_at_s, double wait_s, double hot_idle_s,
           std::string reason) {
    plan::GapPlan g;
    g.head = head;
    g.before = before;
    g.after = after;
    g.from_s = from_s;
    g.to_s = to_s;
    g.treatment = treatment;
    g.dip_c = dip_c;
    g.preheat_at_s = preheat_at_s;
    g.wait_s = wait_s;
    g.hot_idle_s = hot_idle_s;
    g.reason = std::move(reason);
    lookahead.gaps.push_back(std::move(g));
  }

 private:
  void filament(int tool, const char* name, double density) {
    rules::Filament f;
    f.tool = tool;
    f.name = name;
    f.density_g_cm3 = density;
    rules.filaments.push_back(f);
  }
  void select(job::ChangeKind kind, double at_s, std::size_t head, int tool) {
    job::ToolChange s;
    s.kind = kind;
    s.from_head = job.tool_changes.empty() ? job::kNone : job.tool_changes.back().head;
    s.from_tool = job.tool_changes.empty() ? -1 : job.tool_changes.back().tool;
    s.head = head;
    s.tool = tool;
    if (s.picks()) s.pick_s = 7;
    if (s.picks() && s.from_head != job::kNone) s.park_s = 7;
    if (s.exchanges()) s.exchange_s = 35;
    job.tool_changes.push_back(s);
    lookahead.change_at_s.push_back(at_s);
  }
  void use(std::size_t head, int tool, std::uint64_t first, std::uint64_t last_end) {
    job::ToolUse s;
    s.head = head;
    s.tool = tool;
    s.first.offset = first;
    s.last_end = last_end;
    job.uses.push_back(s);
  }
  void set(plan::Plan& plan, rules::Policy policy, plan::Figures figures) const {
    plan.policy = policy;
    plan.figures = figures;
    plan.heads.resize(2);
  }
};

// "left" and "right" take turns so often that most bars are narrower than a pixel.
inline Sample crowded(std::size_t gaps) {
  Sample s;
  s.lookahead.gaps.clear();
  for (std::size_t i = 0; i < gaps; ++i) {
    const double at = 120 + 20.0 * double(i);
    s.gap(i % 2, {}, i % 3, at, at + 20, plan::Treatment::standby, 170 + double(i % 9), at + 9,
          i % 50 == 0 ? 1.5 : 0, 3, "parked 20 s, preheat 11.0 s ahead from 181 C");
  }
  s.lookahead.figures.duration_s = 200 + 20.0 * double(gaps);
  return s;
}

// The trace of a plan that is made by hand: heaters at their targets, driven from a preheat to the
// gap's end.
inline plan::Trace trace_of(const job::Job& job, const plan::Plan& plan) {
  plan::Trace out;
  for (std::size_t h = 0; h < job.heads.size(); ++h) {
    out.heaters.push_back({{{0, 23}, {plan.figures.duration_s, 210}}, {{0, 210}}});
  }
  for (const plan::GapPlan& gap : plan.gaps) {
    const auto head = std::uint32_t(gap.head);
    out.parked.push_back({gap.from_s, gap.to_s, 175, head});
    if (gap.head >= out.heaters.size()) continue;
    const double target_c = gap.treatment == plan::Treatment::off       ? 0
                            : gap.treatment == plan::Treatment::standby ? 170
                                                                        : 210;
    auto& targets = out.heaters[gap.head].target;
    targets.push_back({gap.from_s, target_c});
    targets.push_back({gap.preheat_at_s.value_or(gap.to_s), 210});
    if (gap.preheat_at_s) out.drives.push_back({*gap.preheat_at_s, gap.to_s, gap.head, 0, 210});
    if (gap.wait_s > 0) out.stops.push_back({gap.to_s, gap.to_s + gap.wait_s, head, {}});
  }
  return out;
}

// The page of plans made by hand, in which the one as sliced changes when the other does.
inline std::string page_of(const Summary& s) {
  plan::Plan as_sliced = s.as_sliced;
  as_sliced.change_at_s = s.lookahead.change_at_s;
  Summary all{s.path, s.job, s.rules, as_sliced, s.timers, s.hold, s.lookahead};
  all.schedule = s.schedule;
  all.width = s.width;
  all.spool_ends = s.spool_ends;
  all.finish = s.finish;
  all.version = s.version;
  all.checked = s.checked;
  return html(all, picture_of(all, trace_of(s.job, s.lookahead), trace_of(s.job, as_sliced)));
}

}  // namespace forewarm::report
