#include <cmath>

#include "report/figures.h"
#include "report/json_parts.h"
#include "report/report.h"

namespace forewarm::report {

Json json_begun() { return {{"schema_version", 1}}; }

Json rounded(double x) {
  if (!std::isfinite(x)) return nullptr;  // JSON has no word for it
  return thousandths(x);
}

Json job_json(const std::string& path, const job::Job& job) {
  return {{"path", path},         {"bytes", job.bytes},
          {"lines", job.lines},   {"motion_s", rounded(job.motion_s)},
          {"layers", job.layers}, {"breaks_off", job.ending.broken_off()}};
}

Json rules_json(const rules::Rules& rules) {
  return {{"path", rules.built_in ? Json(nullptr) : Json(rules.file)},
          {"hash", hash_text(rules.hash)}};
}

Json figures_json(const plan::Figures& f) {
  return {{"duration_s", rounded(f.duration_s)}, {"wait_s", rounded(f.wait_s)},
          {"hot_idle_s", rounded(f.hot_idle_s)}, {"energy_wh", rounded(f.energy_wh)},
          {"cold_starts", f.cold_starts},        {"peak_heating_w", rounded(f.peak_heating_w)}};
}

Json bound_json(const Bound& bound) {
  return {{"wait_s", rounded(bound.wait_s)}, {"hot_idle_s", rounded(bound.hot_idle_s)}};
}

// Names and paths may be any bytes; JSON is UTF-8.
std::string written(const Json& json) {
  return without_controls(json.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

namespace {

Json toolhead(const std::string& name, const plan::HeadFigures& h) {
  return {{"name", name},
          {"uses", h.uses},
          {"hold", h.hold},
          {"standby", h.standby},
          {"off", h.off},
          {"hot_idle_s", rounded(h.hot_idle_s)},
          {"energy_wh", rounded(h.energy_wh)},
          {"wait_s", rounded(h.wait_s)}};
}

Json gap_of(const std::string& name, const plan::GapPlan& gap) {
  return {{"toolhead", name},
          {"from_s", rounded(gap.from_s)},
          {"to_s", rounded(gap.to_s)},
          {"treatment", plan::name_of(gap.treatment)},
          {"dip_c", rounded(gap.dip_c)},
          {"preheat_at_s", gap.preheat_at_s ? rounded(*gap.preheat_at_s) : Json(nullptr)},
          {"wait_s", rounded(gap.wait_s)},
          {"reason", gap.reason}};
}

Json filament_of(const job::Material& material, const rules::Filament& filament,
                 const plan::Plan& plan) {
  const Grams g = grams(material, filament, stepped_mm(plan, material.tool));
  return {{"tool", material.tool},
          {"name", filament.name},
          {"part_g", rounded(g.part_g)},
          {"purge_g", rounded(g.purge_g)},
          {"exchange_purge_g", rounded(g.exchange_purge_g)},
          {"sequence_purge_g", rounded(g.sequence_purge_g)},
          {"exchanges", material.exchanges}};
}

Json causes_of(const Causes& c) {
  return {{"motion_s", rounded(c.motion_s)},     {"park_pick_s", rounded(c.park_pick_s)},
          {"exchange_s", rounded(c.exchange_s)}, {"sequence_s", rounded(c.sequence_s)},
          {"wait_s", rounded(c.wait_s)},         {"other_s", rounded(c.other_s)}};
}

Json or_null(const std::optional<double>& x) { return x ? Json(*x) : Json(nullptr); }

Json at_start_of(const std::optional<AtStart>& a) {
  if (!a) return nullptr;
  return {{"start", date_minute(a->start)},
          {"exchanges_away", a->exchanges_away},
          {"expected_stops_away", or_null(a->expected_stops_away)}};
}

// Every key is always there; null is what was not asked for, or is not known.
Json attention_of(const Summary& s) {
  const Attention a = attention(s.job, s.lookahead, s.rules, s.schedule);
  const auto at = [&](double time_s) {
    return s.schedule ? Json(date_time(later(s.schedule->start, time_s))) : Json(nullptr);
  };
  Json out;
  out["expected_stops"] = or_null(a.expected_stops);
  out["chance_of_none"] = or_null(a.chance_of_none);
  out["start"] = at(0);
  out["end"] = at(s.lookahead.figures.duration_s);
  out["longest_without_exchange"] = {{"from_s", rounded(a.quiet_from_s)},
                                     {"to_s", rounded(a.quiet_to_s)},
                                     {"from", at(a.quiet_from_s)},
                                     {"to", at(a.quiet_to_s)}};
  out["away"] = Json::array();
  if (s.schedule) {
    for (const Away& away : s.schedule->away) out["away"].push_back(hours(away));
  }
  out["as_started"] = at_start_of(a.given);
  out["best_start"] = at_start_of(a.best);
  out["exchanges"] = Json::array();
  for (std::size_t i = 0; i < a.changes.size(); ++i) {
    if (!a.changes[i].exchanges) continue;
    out["exchanges"].push_back({{"time_s", rounded(a.changes[i].at_s)},
                                {"clock", at(a.changes[i].at_s)},
                                {"from_tool", s.job.tool_changes[i].from_tool},
                                {"to_tool", s.job.tool_changes[i].tool}});
  }
  return out;
}

}  // namespace

std::string json(const Summary& summary) {
  const job::Job& job = summary.job;
  const plan::Plan& plan = summary.lookahead;
  Json out = json_begun();
  out["job"] = job_json(summary.path, job);
  out["rules"] = rules_json(summary.rules);
  out["changes"] = {{"toolhead", job.count(job::ChangeKind::toolhead)},
                    {"filament", job.count(job::ChangeKind::filament)},
                    {"both", job.count(job::ChangeKind::both)},
                    {"redundant", job.count(job::ChangeKind::redundant)}};
  for (const PolicyRow& row : policies(summary)) {
    out["policies"][row.key] = figures_json(row.plan->figures);
  }
  out["bound"] = bound_json(bound(plan));
  out["toolheads"] = Json::array();
  for (std::size_t h = 0; h < plan.heads.size(); ++h) {
    out["toolheads"].push_back(toolhead(head_name(summary, h), plan.heads[h]));
  }
  out["gaps"] = Json::array();
  for (const plan::GapPlan& gap : plan.gaps) {
    out["gaps"].push_back(gap_of(head_name(summary, gap.head), gap));
  }
  out["filaments"] = Json::array();
  for (const job::Material& material : job.materials) {
    out["filaments"].push_back(filament_of(material, summary.rules.filament(material.tool), plan));
  }
  out["time_by_cause"] = causes_of(time_by_cause(job, plan));
  for (const WaitCause& cause : wait_causes(plan.figures.waits)) {
    out["wait_by_cause"][cause.key] = rounded(cause.seconds);
  }
  out["attention"] = attention_of(summary);
  return written(out);
}

}  // namespace forewarm::report
