#include "report/compare.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <set>

#include "report/beginnings.h"
#include "report/json_parts.h"

namespace forewarm::report {

namespace {

// Common practice, no source: what firmware timers are set to, 5 min to 1 h.
constexpr std::array kUsualOffS{300.0, 600.0, 1200.0, 1800.0, 3600.0};

// What a row says of its rules: absent where its policy does not go by it.
struct Thresholds {
  std::optional<double> off_over_s, timer_standby_s, timer_off_s;
  bool off_over_best = false;
};

Thresholds thresholds(const CompareRow& row) {
  Thresholds out;
  if (row.policy == rules::Policy::lookahead) {
    out.off_over_best = row.gap.off_over_best;
    if (!out.off_over_best) out.off_over_s = row.gap.off_over_s;
  }
  if (row.policy == rules::Policy::timers) {
    out.timer_standby_s = row.gap.timer_standby_s;
    out.timer_off_s = row.gap.timer_off_s;
  }
  return out;
}

const char* key_of(rules::Policy policy) {
  switch (policy) {
    case rules::Policy::timers:
      return "timers";
    case rules::Policy::hold:
      return "hold";
    case rules::Policy::lookahead:
      return "lookahead";
    case rules::Policy::as_sliced:
      break;
  }
  return "as_sliced";
}

Json given(const std::optional<double>& value) { return value ? rounded(*value) : Json(nullptr); }

std::string cell(double x) {
  return std::isfinite(x) ? fmt::format("{}", thousandths(x)) : std::string();
}
std::string cell(const std::optional<double>& x) { return x ? cell(*x) : std::string(); }

}  // namespace

std::vector<double> off_timers(const rules::GapSettings& gap) {
  std::set<double> out(kUsualOffS.begin(), kUsualOffS.end());
  out.insert(gap.timer_off_s);
  return {out.begin(), out.end()};
}

std::size_t plans_needed(const rules::GapSettings& gap, std::span<const Sweep> sweeps) {
  std::size_t count = 3 + off_timers(gap).size();
  for (const Sweep& sweep : sweeps) count += sweep.values.size();
  return count;
}

Result<Comparison> compare(std::string path, const job::Job& job, const rules::Rules& rules,
                           std::span<const Sweep> sweeps, const Planner& planner) {
  Comparison out{std::move(path), job, rules, {}, {}};
  rules::Rules tried = rules;
  const auto add = [&](rules::Policy policy, std::string_view swept, double value) -> Status {
    auto plan = planner(tried, policy);
    if (!plan) return std::move(plan.error());
    if (swept.empty() && policy == rules::Policy::lookahead) out.bound = bound(*plan);
    out.rows.push_back({policy, tried.gap, swept, value, plan->figures});
    tried.gap = rules.gap;
    return success();
  };
  if (auto s = add(rules::Policy::as_sliced, {}, 0); !s) return std::move(s.error());
  for (const double off_s : off_timers(rules.gap)) {
    tried.gap.timer_off_s = off_s;
    if (auto s = add(rules::Policy::timers, {}, 0); !s) return std::move(s.error());
  }
  if (auto s = add(rules::Policy::hold, {}, 0); !s) return std::move(s.error());
  if (auto s = add(rules::Policy::lookahead, {}, 0); !s) return std::move(s.error());
  for (const Sweep& sweep : sweeps) {
    for (const double value : sweep.values) {
      sweep.set(tried.gap, value);
      if (auto s = add(sweep.policy(), sweep.key->name, value); !s) return std::move(s.error());
    }
  }
  return out;
}

std::string json(const Comparison& comparison) {
  Json out = json_begun();
  out["job"] = job_json(comparison.path, comparison.job);
  out["rules"] = rules_json(comparison.rules);
  out["rows"] = Json::array();
  for (const CompareRow& row : comparison.rows) {
    const Thresholds by = thresholds(row);
    Json r;
    r["policy"] = key_of(row.policy);
    r["swept"] = row.swept.empty() ? Json(nullptr) : Json(row.swept);
    // Not rounded: on_time goes to the millionth.
    r["value"] = row.swept.empty() ? Json(nullptr) : Json(row.value);
    r["off_over_s"] = by.off_over_best ? Json("best") : given(by.off_over_s);
    r["timer_standby_s"] = given(by.timer_standby_s);
    r["timer_off_s"] = given(by.timer_off_s);
    r.update(figures_json(row.figures));
    out["rows"].push_back(std::move(r));
  }
  out["bound"] = bound_json(comparison.bound);
  return written(out);
}

std::string csv(const Comparison& comparison) {
  std::string out = std::string(kComparisonBeginning) +
                    "timer_standby_s,timer_off_s,duration_s,wait_s,hot_idle_s,"
                    "energy_wh,cold_starts,peak_heating_w\n";
  for (const CompareRow& row : comparison.rows) {
    const Thresholds by = thresholds(row);
    const plan::Figures& f = row.figures;
    out += fmt::format("{},{},{},{},{},{},{},{},{},{},{},{}\n", key_of(row.policy), row.swept,
                       row.swept.empty() ? std::string() : fmt::format("{}", row.value),
                       by.off_over_best ? "best" : cell(by.off_over_s), cell(by.timer_standby_s),
                       cell(by.timer_off_s), cell(f.duration_s), cell(f.wait_s), cell(f.hot_idle_s),
                       cell(f.energy_wh), f.cold_starts, cell(f.peak_heating_w));
  }
  return out + fmt::format("bound,,,,,,,{},{},,,\n", cell(comparison.bound.wait_s),
                           cell(comparison.bound.hot_idle_s));
}

}  // namespace forewarm::report
