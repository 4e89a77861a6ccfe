#include "report/compare.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <set>
#include <utility>

#include "report/beginnings.h"
#include "report/compare_fields.h"

namespace forewarm::report {

namespace {

// Common practice, no source: what firmware timers are set to, 5 min to 1 h.
constexpr std::array kUsualOffS{300.0, 600.0, 1200.0, 1800.0, 3600.0};

// The thresholds of a row; absent where its policy does not use them.
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

Json or_null(const std::optional<double>& value) { return value ? rounded(*value) : Json(nullptr); }

}  // namespace

Json fields_of(const CompareRow& row) {
  const Thresholds by = thresholds(row);
  Json out;
  out["policy"] = key_of(row.policy);
  out["swept"] = row.swept.empty() ? Json(nullptr) : Json(row.swept);
  // Not rounded, as on_time has six decimals.
  out["value"] = row.swept.empty() ? Json(nullptr) : Json(row.value);
  out["off_over_s"] = by.off_over_best ? Json("best") : or_null(by.off_over_s);
  out["timer_standby_s"] = or_null(by.timer_standby_s);
  out["timer_off_s"] = or_null(by.timer_off_s);
  add_figures<plan::Figures>(out, kPlanFigures, row.figures);
  add_figures<plan::Figures>(out, std::span(kPowerFigures).subspan<1>(), row.figures);
  return out;
}

std::string csv_header(const Json& fields) {
  std::string out;
  for (const auto& [key, value] : fields.items()) out += (out.empty() ? "" : ",") + key;
  return out + '\n';
}

std::string csv_line(const Json& fields) {
  constexpr std::size_t kMaxName = 4096;
  std::string out;
  bool first = true;
  for (const auto& [key, value] : fields.items()) {
    if (!std::exchange(first, false)) out += ',';
    if (value.is_string()) out += csv_field(clean(value.get<std::string>(), kMaxName));
    if (value.is_array()) {
      std::string joined;
      for (const Json& item : value) {
        joined += (joined.empty() ? "" : "; ") + clean(item.get<std::string>(), kMaxName);
      }
      out += csv_field(joined);
    }
    if (value.is_number_integer()) out += fmt::format("{}", value.get<std::uint64_t>());
    if (value.is_number_float()) out += fmt::format("{}", value.get<double>());
  }
  return out + '\n';
}

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
  for (const CompareRow& row : comparison.rows) out["rows"].push_back(fields_of(row));
  out["bound"] = figures_json<Bound>(kBoundFigures, comparison.bound);
  return written(out);
}

std::string csv(const Comparison& comparison) {
  // The header and the last row, which is the bound, have the columns of any row.
  const Json columns = fields_of({});
  std::string out = csv_header(columns);
  for (const CompareRow& row : comparison.rows) out += csv_line(fields_of(row));
  Json last = columns;
  for (auto& [key, value] : last.items()) value = nullptr;
  last["policy"] = "bound";
  add_figures<Bound>(last, kBoundFigures, comparison.bound);
  return out + csv_line(last);
}

}  // namespace forewarm::report
