#include <cmath>
#include <nlohmann/json.hpp>

#include "report/figures.h"
#include "report/report.h"

namespace forewarm::report {

namespace {

using Json = nlohmann::ordered_json;

// To the thousandth: what the last bits of a sum are depends on the machine, this does not.
Json rounded(double x) {
  if (!std::isfinite(x)) return nullptr;                  // JSON has no word for it
  if (std::abs(x) < 1e12) x = std::round(x * 1e3) / 1e3;  // beyond, there are no thousandths
  return x + 0.0;                                         // -0 is 0
}

Json figures(const plan::Figures& f) {
  return {{"duration_s", rounded(f.duration_s)}, {"wait_s", rounded(f.wait_s)},
          {"hot_idle_s", rounded(f.hot_idle_s)}, {"energy_wh", rounded(f.energy_wh)},
          {"cold_starts", f.cold_starts},        {"peak_heating_w", rounded(f.peak_heating_w)}};
}

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
  out["job"] = {{"path", summary.path},
                {"bytes", job.bytes},
                {"lines", job.lines},
                {"motion_s", rounded(job.motion_s)},
                {"layers", job.layers}};
  out["changes"] = {{"toolhead", job.count(job::Change::toolhead)},
                    {"filament", job.count(job::Change::filament)},
                    {"both", job.count(job::Change::both)},
                    {"redundant", job.count(job::Change::redundant)}};
  for (const PolicyRow& row : policies(summary)) {
    out["policies"][row.key] = figures(row.plan->figures);
  }
  const Bound least = bound(plan);
  out["bound"] = {{"wait_s", rounded(least.wait_s)}, {"hot_idle_s", rounded(least.hot_idle_s)}};
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
  // Names and paths may be any bytes; JSON is UTF-8.
  return without_controls(out.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

}  // namespace forewarm::report
