#include "report/page_data.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <optional>
#include <vector>

#include "report/figures.h"
#include "report/json_parts.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kMostReason = 400;  // characters
constexpr double kTimeUnitS = 0.01;

// Of a member of each, as differences in units.
template <class Rows, class Value>
Json differences(const Rows& rows, Value value, double unit) {
  Json out = Json::array();
  std::int64_t before = 0;
  for (const auto& row : rows) {
    const std::int64_t now = std::llround(std::invoke(value, row) / unit);
    out.push_back(now - before);
    before = now;
  }
  return out;
}

Json optional(const std::optional<double>& value) {
  return value ? rounded(*value) : Json(nullptr);
}

class PageData {
 public:
  PageData(const Summary& s, const Picture& picture) : s_(s), p_(picture) {}

  Json run() {
    Json out = json_begun();
    out["end_s"] = rounded(p_.end_s);
    out["start"] = s_.schedule ? Json(date_time(s_.schedule->start)) : Json(nullptr);
    out["away"] = Json::array();
    if (s_.schedule) {
      for (const Away& away : s_.schedule->away)
        out["away"].push_back({away.from_min, away.to_min});
    }
    out["limit_w"] = optional(p_.limit_w);
    out["heads"] = Json::array();
    for (const Picture::Head& h : p_.heads) {
      out["heads"].push_back(
          {{"name", h.name},
           {"scale_c", h.scale_c},
           {"work_c", h.work_c ? rounded(h.work_c->high) : Json(nullptr)},
           {"work_low_c", h.work_c ? rounded(h.work_c->low) : Json(nullptr)},
           {"standby_c", h.standby_c ? rounded(h.standby_c->low) : Json(nullptr)},
           {"standby_high_c", h.standby_c ? rounded(h.standby_c->high) : Json(nullptr)}});
    }
    out["filaments"] = Json::array();
    for (const Picture::Filament& f : p_.filaments) {
      out["filaments"].push_back({{"tool", f.tool},
                                  {"name", f.name},
                                  {"material", f.material},
                                  {"letter", f.letter},
                                  {"look", f.look}});
    }
    out["planned"] = band(p_.planned);
    out["sliced"] = band(p_.sliced);
    out["layers"] = differences(
        p_.layers_s, [](double t) { return t; }, kTimeUnitS);
    out["gaps"] = gaps(s_.lookahead);
    out["changes"] = changes(s_.lookahead);
    return out;
  }

 private:
  static Json band(const Picture::Band& band) {
    Json out;
    out["heads"] = Json::array();
    for (const Picture::Row& row : band.rows) out["heads"].push_back(row_of(row));
    out["end_s"] = rounded(band.end_s);
    out["stops"] = stops(band.stops);
    out["power"] = {{"at", differences(band.power, &Picture::Step::at_s, kTimeUnitS)},
                    {"watts", differences(band.power, &Picture::Step::watts, 1)}};
    return out;
  }

  static std::int64_t length(double from_s, double to_s) {
    return std::llround(to_s / kTimeUnitS) - std::llround(from_s / kTimeUnitS);
  }

  static Json row_of(const Picture::Row& row) {
    Json out;
    out["from"] = differences(row.stretches, &Picture::Stretch::from_s, kTimeUnitS);
    for (const char* key : {"length", "kind", "ref"}) out[key] = Json::array();
    for (const Picture::Stretch& s : row.stretches) {
      out["length"].push_back(length(s.from_s, s.to_s));
      out["kind"].push_back(s.kind);
      out["ref"].push_back(s.of);
    }
    out["at"] = differences(row.temperature, &plan::Trace::Point::at_s, kTimeUnitS);
    out["temp"] = differences(row.temperature, &plan::Trace::Point::temp_c, 1);
    return out;
  }

  static Json stops(const std::vector<plan::Trace::Stop>& stops) {
    Json out;
    out["from"] = differences(stops, &plan::Trace::Stop::from_s, kTimeUnitS);
    for (const char* key : {"length", "head", "kind"}) out[key] = Json::array();
    for (const plan::Trace::Stop& stop : stops) {
      out["length"].push_back(length(stop.from_s, stop.to_s));
      out["head"].push_back(stop.head);
      out["kind"].push_back(int(stop.kind));
    }
    return out;
  }

  Json gaps(const plan::Plan& plan) const {
    Json out;
    for (const char* key : {"from_s", "to_s", "toolhead", "treatment", "dip_c", "preheat_at_s",
                            "wait_s", "hot_idle_s", "to_tool", "reason"}) {
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
      out["to_tool"].push_back(gap.after ? s_.job.uses[*gap.after].tool : -1);
      out["reason"].push_back(clean(gap.reason, kMostReason));
    }
    return out;
  }

  Json changes(const plan::Plan& plan) const {
    const Attention a = attention(s_.job, plan, s_.rules, s_.schedule);
    Json out;
    for (const char* key : {"at_s", "layer", "line", "kind", "toolhead", "out_tool", "to_tool",
                            "exchange_s", "wait_s"}) {
      out[key] = Json::array();
    }
    for (std::size_t i = 0; i < s_.job.tool_changes.size(); ++i) {
      const job::ToolChange& c = s_.job.tool_changes[i];
      out["at_s"].push_back(rounded(a.changes[i].at_s));
      out["layer"].push_back(c.layer);
      out["line"].push_back(c.line);
      out["kind"].push_back(job::name_of(c.kind));
      out["toolhead"].push_back(c.head == job::kNone ? -1 : std::int64_t(c.head));
      out["out_tool"].push_back(c.exchanges() ? c.out_tool : c.from_tool);
      out["to_tool"].push_back(c.tool);
      out["exchange_s"].push_back(rounded(c.exchange_s));
      out["wait_s"].push_back(rounded(a.changes[i].wait_s));
    }
    return out;
  }

  const Summary& s_;
  const Picture& p_;
};

}  // namespace

std::string page_data(const Summary& summary, const Picture& picture) {
  const std::string text =
      PageData(summary, picture).run().dump(-1, ' ', false, Json::error_handler_t::replace);
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
