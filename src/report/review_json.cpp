#include <fmt/format.h>

#include <cmath>

#include "report/beginnings.h"
#include "report/format.h"
#include "report/heaters_json.h"
#include "report/review.h"

namespace forewarm::report {

namespace {

Json optional_json(const std::optional<double>& x) { return x ? rounded(*x) : Json(nullptr); }

Json record_json(const record::Summary& s, const std::string& path, std::uint64_t missing) {
  return Json{{"path", clean(path, 4096)}, {"lines", s.lines},   {"from_s", rounded(s.from_s)},
              {"to_s", rounded(s.to_s)},   {"echoes", s.echoes}, {"missing", missing}};
}

Json time_json(const review::Review& review) {
  Json out = Json::object();
  const bool told = review.planned.sum() > 0;  // not by selects alone
  const auto figure = [&](double seconds) { return told ? Json(rounded(seconds)) : Json(nullptr); };
  out["planned_s"] = figure(review.planned.sum());
  out["actual_s"] = figure(review.actual.sum());
  Json& causes = out["by_cause"] = Json::object();
  const auto add = [&](const char* name, double review::CauseTimes::*cause) {
    causes[name] = Json{{"planned_s", figure(review.planned.*cause)},
                        {"actual_s", figure(review.actual.*cause)}};
  };
  add("moving", &review::CauseTimes::moving_s);
  add("park_pick", &review::CauseTimes::park_pick_s);
  add("exchange", &review::CauseTimes::exchange_s);
  add("sequences", &review::CauseTimes::sequences_s);
  add("waiting", &review::CauseTimes::waiting_s);
  add("stops", &review::CauseTimes::stops_s);
  return out;
}

Json changes_json(const Reviewed& r) {
  Json list = Json::array();
  for (const review::ChangeSeen& seen : r.review.changes) {
    const review::PlannedChange& c = r.schedule.changes[seen.change];
    Json& j = list.emplace_back(Json::object());
    j["index"] = seen.change;
    j["print"] = seen.print;
    j["line"] = c.line;
    j["from_tool"] = c.from_tool < 0 ? Json(nullptr) : Json(c.from_tool);
    j["to_tool"] = c.tool < 0 ? Json(nullptr) : Json(c.tool);
    j["kind"] = job::name_of(c.kind);
    j["planned_at_s"] = rounded(c.at_s);
    j["actual_at_s"] = optional_json(seen.at_s);
    j["planned_s"] = rounded(c.takes_s());
    j["actual_s"] = optional_json(seen.took_s);
    j["wait_s"] = optional_json(seen.wait_s);
    j["planned_wait_s"] = rounded(c.wait_before_s + c.wait_after_s);
    j["needed_c"] = c.needed_c > 0 ? rounded(c.needed_c) : Json(nullptr);
    j["at_need_c"] = optional_json(seen.at_need_c);
    j["stop_s"] = rounded(seen.stop_s);
  }
  return list;
}

Json stats_json(const Reviewed& r) {
  Json list = Json::array();
  for (const review::Stat& s : r.review.stats) {
    list.push_back(Json{{"kind", review::name_of(s.kind)},
                        {"toolhead", clean(r.rules.toolheads[s.head].name)},
                        {"count", s.count},
                        {"median_s", rounded(s.median_s)},
                        {"mean_s", rounded(s.mean_s)},
                        {"sd_s", rounded(s.sd_s)},
                        {"rule_s", rounded(s.rule_s)}});
  }
  return list;
}

}  // namespace

std::string review_json(const Reviewed& r) {
  Json out = json_begun();
  out["rules"] = rules_json(r.rules);
  record::Summary all;
  std::uint64_t missing = r.review.missing_echoes;
  for (std::size_t i = 0; i < r.records.size(); ++i) {
    const record::Summary& s = r.records[i].summary;
    all.lines += s.lines;
    all.echoes += s.echoes;
    all.from_s = i == 0 ? s.from_s : std::min(all.from_s, s.from_s);
    all.to_s = std::max(all.to_s, s.to_s);
  }
  // Of several, the first one's path; each has its own below.
  out["record"] = record_json(all, r.records.empty() ? "" : r.records.front().path, missing);
  out["records"] = Json::array();
  for (const CalibratedRecord& c : r.records) {
    out["records"].push_back(clean(c.path, 4096));
  }
  out["prints"] = r.review.prints;
  out["by"] = r.review.by_selects ? "selects" : "echoes";
  out["time"] = time_json(r.review);
  const review::OnTime& on_time = r.review.on_time;
  const bool any = on_time.uses > 0;
  const double uses = double(std::max<std::uint64_t>(on_time.uses, 1));
  out["on_time"] = Json{{"promised", rounded(on_time.promised)},
                        {"share", any ? number_json(1 - double(on_time.late) / uses) : Json()},
                        {"late", on_time.late},
                        {"uses", on_time.uses},
                        {"low", any ? number_json(1 - on_time.late_share.high) : Json()},
                        {"high", any ? number_json(1 - on_time.late_share.low) : Json()}};
  out["change_list"] = changes_json(r);
  out["stats"] = stats_json(r);
  out["stops"] = Json::array();
  for (const review::StopSeen& s : r.review.stops) {
    out["stops"].push_back(Json{{"at_s", rounded(s.at_s)},
                                {"line", s.line},
                                {"duration_s", rounded(s.duration_s)},
                                {"after", review::name_of(s.after)}});
  }
  out["heaters"] = heaters_json(r.heaters, r.rules);
  out["suggest"] = Json::array();
  for (const review::Suggestion& s : r.suggestions) {
    out["suggest"].push_back(Json{{"key", clean(s.key)},
                                  {"now", s.now ? number_json(*s.now) : Json()},
                                  {"better", number_json(s.better.value)},
                                  {"sd", number_json(s.better.sd)},
                                  {"observations", s.observations},
                                  {"why", clean(s.why)},
                                  {"certain", s.certain}});
  }
  out["spools"] = Json::array();
  for (const review::SpoolUse& s : r.spools) {
    out["spools"].push_back(Json{{"tool", s.tool},
                                 {"filament", clean(s.filament)},
                                 {"took_g", rounded(s.took_g)},
                                 {"spool_g", optional_json(s.spool_g)},
                                 {"left_g", optional_json(s.left_g)}});
  }
  out["ends"] = Json::array();
  for (const review::PrintEnd& end : r.review.ends) {
    Json& j = out["ends"].emplace_back(Json{
        {"whole", end.whole}, {"after_line", nullptr}, {"counted_before", end.counted_before}});
    if (const auto line = last_line(r, end)) j["after_line"] = *line;
  }
  out["bought"] = nullptr;
  if (r.bought) {
    out["bought"] = Json{{"duration_s", rounded(r.bought->duration_s)},
                         {"wait_s", rounded(r.bought->wait_s)},
                         {"hot_idle_s", rounded(r.bought->hot_idle_s)},
                         {"new_duration_s", rounded(r.bought->new_duration_s)},
                         {"new_wait_s", rounded(r.bought->new_wait_s)},
                         {"new_hot_idle_s", rounded(r.bought->new_hot_idle_s)}};
  }
  return written(out);
}

std::string review_csv(const Reviewed& r) {
  std::string out = std::string(kReviewBeginning) +
                    "from_tool,to_tool,kind,toolhead,planned_at_s,actual_at_s,planned_s,actual_s,"
                    "wait_s,late_s,needed_c,at_need_c,at_feed_c,stop_s,counts\n";
  const auto optional = [](const std::optional<double>& x) {
    return x ? csv_field(*x) : std::string();
  };
  const auto tool = [](int t) { return t < 0 ? std::string() : std::to_string(t); };
  for (const review::ChangeSeen& seen : r.review.changes) {
    const review::PlannedChange& c = r.schedule.changes[seen.change];
    const bool known = c.head < r.rules.toolheads.size();
    out += fmt::format("{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{}\n",
                       csv_field(clean(r.records[seen.record].path, 4096)), seen.print, seen.change,
                       c.line, tool(c.from_tool), tool(c.tool), job::name_of(c.kind),
                       known ? csv_field(clean(r.rules.toolheads[c.head].name)) : "",
                       csv_field(c.at_s), optional(seen.at_s), csv_field(c.takes_s()),
                       optional(seen.took_s), optional(seen.wait_s), optional(seen.late_s),
                       c.needed_c > 0 ? csv_field(c.needed_c) : "", optional(seen.at_need_c),
                       optional(seen.fed_c), csv_field(seen.stop_s), seen.counts ? 1 : 0);
  }
  return out;
}

}  // namespace forewarm::report
