#include <cmath>

#include "report/figures.h"
#include "report/findings.h"
#include "report/json_parts.h"
#include "report/report.h"
#include "report/spools.h"
#include "report/stops.h"

namespace forewarm::report {

Json json_begun() { return {{"schema_version", 1}}; }

Json rounded(double x) {
  if (!std::isfinite(x)) return nullptr;  // JSON has no such numbers
  return thousandths(x);
}

Json job_json(const std::string& path, const job::Job& job) {
  return {{"path", path},         {"bytes", job.bytes},
          {"lines", job.lines},   {"motion_s", rounded(job.motion_s)},
          {"layers", job.layers}, {"breaks_off", job.ending.broken_off()}};
}

Json rules_json(const rules::Rules& rules) {
  Json out = {{"path", rules.built_in ? Json(nullptr) : Json(rules.file)},
              {"hash", hash_text(rules.hash)}};
  if (!rules.settings.empty()) out["set"] = rules.settings;
  return out;
}

// Names and paths may be any bytes; JSON is UTF-8.
std::string written(const Json& json) {
  return without_controls(json.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

namespace {

Json toolhead_of(const std::string& name, const plan::HeadFigures& figures) {
  Json out{{"name", name}};
  add_figures<plan::HeadFigures>(out, kHeadFigures, figures);
  return out;
}

Json gap_of(const std::string& name, const plan::GapPlan& gap) {
  Json out{{"toolhead", name}};
  add_figures<plan::GapPlan>(out, std::array{kGapFrom, kGapTo}, gap);
  out["treatment"] = plan::name_of(gap.treatment);
  add_figures<plan::GapPlan>(out, std::array{kGapDip, kGapPreheatAt, kGapWait}, gap);
  out["reason"] = gap.reason;
  return out;
}

Json filament_of(const job::Material& material, const rules::Filament& filament,
                 const plan::Plan& plan) {
  Json out{{"tool", material.tool}, {"name", filament.name}};
  add_figures<Grams>(out, kGramFigures, grams(material, filament, stepped_mm(plan, material.tool)));
  out[std::string(kExchanges.key)] = material.exchanges;
  return out;
}

Json or_null(const std::optional<double>& x) { return x ? Json(*x) : Json(nullptr); }

Json at_start_of(const std::optional<AtStart>& a) {
  if (!a) return nullptr;
  return {{"start", date_minute(a->start)},
          {"exchanges_away", a->exchanges_away},
          {"expected_stops_away", or_null(a->expected_stops_away)}};
}

Json finish_of(const Summary& s) {
  if (!s.finish || !s.schedule) return nullptr;
  const Finish& f = s.finish->given;
  const auto at = [&](double time_s) { return date_time(later(s.schedule->start, time_s)); };
  const auto& by = s.schedule->done_by;
  return {{"mean_s", rounded(f.mean_s)},
          {"mean_error_s", rounded(f.mean_error_s)},
          {"p10_s", rounded(f.p10_s)},
          {"p50_s", rounded(f.p50_s)},
          {"p90_s", rounded(f.p90_s)},
          {"lost_s", rounded(f.lost_s)},
          {"done_by", by ? Json(date_minute(*by)) : Json(nullptr)},
          {"chance_done_by", or_null(f.chance_done_by)},
          {"mean_end", at(f.mean_s)},
          {"p10_end", at(f.p10_s)},
          {"p50_end", at(f.p50_s)},
          {"p90_end", at(f.p90_s)},
          {"notice_s", s.rules.attention.notice_s},
          {"clear_s", s.rules.attention.clear_s},
          {"trials", s.finish->trials},
          {"seed", s.finish->seed}};
}

Json start_finish_of(const Summary& s, MeanFinish Finishing::*which) {
  if (!s.finish || !s.schedule) return nullptr;
  const MeanFinish& m = s.finish.value().*which;
  return {{"start", date_minute(m.start)},
          {"mean_end", date_time(later(m.start, m.mean_s))},
          {"mean_s", rounded(m.mean_s)},
          {"lost_s", rounded(m.lost_s)}};
}

// Every key is always there; its value is null where it was not asked for or is not known.
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
  out["finish"] = finish_of(s);
  out["best_finish"] = start_finish_of(s, &Finishing::earliest);
  out["shortest"] = start_finish_of(s, &Finishing::shortest);
  const auto name = [&](int tool) {
    return tool < 0 ? Json(nullptr) : Json(s.rules.filament(tool).name);
  };
  out["exchanges"] = Json::array();
  for (std::size_t i = 0; i < a.changes.size(); ++i) {
    if (!a.changes[i].exchanges) continue;
    const job::ToolChange& change = s.job.tool_changes[i];
    out["exchanges"].push_back({{"time_s", rounded(a.changes[i].at_s)},
                                {"clock", at(a.changes[i].at_s)},
                                {"from_tool", change.from_tool},
                                {"to_tool", change.tool},
                                {"from_filament", name(change.from_tool)},
                                {"to_filament", name(change.tool)},
                                {"layer", change.layer},
                                {"line", change.line}});
  }
  return out;
}

// Every key is always there; its value is null where it is not known.
Json load_of(const Summary& s, const Load& l) {
  Json out{{"tool", l.tool}};
  out["toolhead"] = l.head == job::kNone ? Json(nullptr) : Json(head_name(s, l.head));
  out["filament"] = l.filament;
  out["material"] = l.material.empty() ? Json(nullptr) : Json(l.material);
  add_figures<Load>(out, std::span(kSpoolFigures).first<2>(), l);
  out["enough"] = l.spool_g ? Json(l.enough()) : Json(nullptr);
  for (const char* key :
       {"runs_out_s", "runs_out_layer", "runs_out_line", "runs_out", "runs_out_after"}) {
    out[key] = nullptr;
  }
  if (l.runs_out) {
    out["runs_out_s"] = rounded(l.runs_out->at_s);
    out["runs_out_layer"] = l.runs_out->layer;
    out["runs_out_line"] = l.runs_out->line;
    if (s.schedule) out["runs_out"] = date_time(later(s.schedule->start, l.runs_out->at_s));
    if (l.runs_out->change) {
      out["runs_out_after"] = s.job.tool_changes[*l.runs_out->change].line;
    }
  }
  out["at_start"] = l.at_start;
  out["at_end"] = l.at_end;
  add_figures<Load>(out, kLoadCauses, l);
  return out;
}

Json pauses_of(const Summary& s) {
  Json out = Json::array();
  for (std::size_t i = 0; i < s.job.pauses.size(); ++i) {
    const job::Pause& p = s.job.pauses[i];
    const double at_s = s.lookahead.pause_at_s[i];
    out.push_back(
        {{"time_s", rounded(at_s)},
         {"clock", s.schedule ? Json(date_time(later(s.schedule->start, at_s))) : Json(nullptr)},
         {"line", p.line},
         {"layer", p.layer},
         {"text", clean(p.text)}});
  }
  return out;
}

Json idle_of(const Summary& s) {
  const plan::Stretch& longest = s.lookahead.without_command;
  Json out = {{"longest_without_command_s", rounded(longest.seconds())},
              {"from_s", rounded(longest.from_s)},
              {"to_s", rounded(longest.to_s)},
              {"shut_off_from_s", rounded(shut_off_from_s(s.lookahead))}};
  out["heaters"] = Json::array();
  for (std::size_t h = 0; h < s.lookahead.heads.size(); ++h) {
    const plan::Stretch& hot = s.lookahead.heads[h].hot_parked;
    out["heaters"].push_back({{"toolhead", head_name(s, h)},
                              {"longest_hot_parked_s", rounded(hot.seconds())},
                              {"from_s", rounded(hot.from_s)},
                              {"to_s", rounded(hot.to_s)}});
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
  for (const ChangeCount& c : change_counts(job)) out["changes"][std::string(c.kind)] = c.count;
  for (const plan::Plan* by : plans(summary)) {
    Json& policy = out["policies"][key_of(by->policy)];
    policy = figures_json<plan::Figures>(kPlanFigures, by->figures);
    add_figures<plan::Figures>(policy, std::span(kPowerFigures).subspan<1>(), by->figures);
  }
  out["bound"] = figures_json<Bound>(kBoundFigures, bound(plan));
  out["toolheads"] = Json::array();
  for (std::size_t h = 0; h < plan.heads.size(); ++h) {
    out["toolheads"].push_back(toolhead_of(head_name(summary, h), plan.heads[h]));
  }
  out["gaps"] = Json::array();
  for (const plan::GapPlan& gap : plan.gaps) {
    out["gaps"].push_back(gap_of(head_name(summary, gap.head), gap));
  }
  out["filaments"] = Json::array();
  for (const job::Material& material : job.materials) {
    out["filaments"].push_back(filament_of(material, summary.rules.filament(material.tool), plan));
  }
  const Causes causes = time_by_cause(job, plan);
  out["time_by_cause"] = figures_json<Causes>(kCauseFigures, causes);
  out["wait_by_cause"] = figures_json<plan::WaitCauses>(kWaitCauses, plan.figures.waits);
  out["attention"] = attention_of(summary);
  out["load"] = Json::array();
  for (const Load& l : loads(summary)) out["load"].push_back(load_of(summary, l));
  out["pauses"] = pauses_of(summary);
  out["idle"] = idle_of(summary);
  if (summary.checked != nullptr) out["check"] = found_json(*summary.checked);
  return written(out);
}

}  // namespace forewarm::report
