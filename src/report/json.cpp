#include <cmath>

#include "report/figures.h"
#include "report/json_parts.h"
#include "report/report.h"

namespace forewarm::report {

Json rounded(double x) {
  if (!std::isfinite(x)) return nullptr;  // JSON has no word for it
  return thousandths(x);
}

Json job_json(const std::string& path, const job::Job& job) {
  return {{"path", path},
          {"bytes", job.bytes},
          {"lines", job.lines},
          {"motion_s", rounded(job.motion_s)},
          {"layers", job.layers}};
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

Json gap_of(const std::string& name, const plan::Gap& gap) {
  return {{"toolhead", name},
          {"from_s", rounded(gap.from_s)},
          {"to_s", rounded(gap.to_s)},
          {"treatment", plan::name_of(gap.treatment)},
          {"dip_c", rounded(gap.dip_c)},
          {"preheat_at_s", gap.preheat_at_s ? rounded(*gap.preheat_at_s) : Json(nullptr)},
          {"wait_s", rounded(gap.wait_s)},
          {"reason", gap.reason}};
}

Json filament_of(const job::Material& material, const rules::Filament& filament) {
  const Grams g = grams(material, filament);
  return {{"tool", material.tool},
          {"name", filament.name},
          {"part_g", rounded(g.part_g)},
          {"purge_g", rounded(g.purge_g)},
          {"exchanges", material.exchanges}};
}

}  // namespace

std::string json(const Summary& summary) {
  const job::Job& job = summary.job;
  const plan::Plan& plan = summary.lookahead;
  Json out;
  out["schema_version"] = 1;
  out["job"] = job_json(summary.path, job);
  out["changes"] = {{"toolhead", job.count(job::Change::toolhead)},
                    {"filament", job.count(job::Change::filament)},
                    {"both", job.count(job::Change::both)},
                    {"redundant", job.count(job::Change::redundant)}};
  for (const PolicyRow& row : policies(summary)) {
    out["policies"][row.key] = figures_json(row.plan->figures);
  }
  out["bound"] = bound_json(bound(plan));
  out["toolheads"] = Json::array();
  for (std::size_t h = 0; h < plan.heads.size(); ++h) {
    out["toolheads"].push_back(toolhead(head_name(summary, h), plan.heads[h]));
  }
  out["gaps"] = Json::array();
  for (const plan::Gap& gap : plan.gaps) {
    out["gaps"].push_back(gap_of(head_name(summary, gap.head), gap));
  }
  out["filaments"] = Json::array();
  for (const job::Material& material : job.materials) {
    out["filaments"].push_back(filament_of(material, summary.rules.filament(material.tool)));
  }
  return written(out);
}

}  // namespace forewarm::report
