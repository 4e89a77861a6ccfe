#include "report/calibration.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/format.h"
#include "report/heaters_json.h"
#include "report/json_parts.h"
#include "rules/keys.h"

namespace forewarm::report {

namespace {

using record::Calibration;
using thermal::Estimate;

constexpr std::size_t kPlotWidth = 72;   // at most
constexpr std::size_t kPlotMargin = 13;  // to its left
constexpr int kPlotRows = 4;             // above and below the middle

// Means of the residuals, in the order of the readings, a mark a column; heat-ups come first.
std::string plot(const Calibration& c, std::size_t text_width) {
  std::vector<double> all;
  std::size_t heats = 0;
  for (std::size_t i = 0; i < c.residuals.size(); ++i) {
    for (const auto& r : c.residuals[i]) all.push_back(r.residual_c);
    if (i < c.heat_ups) heats = all.size();
  }
  if (all.empty()) return {};
  const std::size_t width = std::min({kPlotWidth, text_width - kPlotMargin, all.size()});
  std::vector<double> means;
  for (std::size_t w = 0; w < width; ++w) {
    const std::size_t from = w * all.size() / width, to = (w + 1) * all.size() / width;
    double sum = 0;
    for (std::size_t i = from; i < to; ++i) sum += all[i];
    means.push_back(sum / double(to - from));
  }
  double most = 0;
  for (const double m : means) most = std::max(most, std::abs(m));
  most = std::max(most, 1e-3);
  std::string out;
  for (int row = kPlotRows; row >= -kPlotRows; --row) {
    const bool labelled = row == kPlotRows || row == 0 || row == -kPlotRows;
    std::string line = labelled ? fmt::format("{:>9} |", number(most * row / kPlotRows, 2))
                                : std::string(9, ' ') + " |";
    for (const double m : means) {
      const bool here = int(std::lround(m / most * kPlotRows)) == row;
      line += here ? '*' : row == 0 ? '-' : ' ';
    }
    while (line.back() == ' ') line.pop_back();
    out += "  " + line + '\n';
  }
  const std::size_t split = heats * width / all.size();
  std::string below = split > 0 ? "heating" : "";
  if (split < width) below.resize(std::max(split, below.size() + 1), ' ');
  if (split < width) below += "cooling";
  out += std::string(kPlotMargin, ' ') + below + '\n';
  return out;
}

std::string heater_text(const Calibration& c, const rules::Rules& rules, std::size_t width) {
  if (!c.refused.empty())
    return heater_title(c) + ": nothing can be told: " + clean(c.refused) + '\n';
  std::string out = heater_title(c) + ": " + used_words(c) + '\n';
  for (const Constant& constant : constants_of(c)) {
    const std::string note = *constant.note == 0 ? "" : fmt::format("  ({})", constant.note);
    out += fmt::format("  {:<22}{}{}\n", constant.key, estimate_text(constant.value), note);
  }
  out += fmt::format("  residuals in C, rms {}:\n", number(c.rms_c, 3)) + plot(c, width);
  for (const std::string& note : c.notes) out += wrapped(note, 2, width);
  out += fmt::format(
      "\n[toolhead.heater]  # {}\n",
      c.heater.head ? clean(rules.toolheads[*c.heater.head].name) : clean(c.heater.name));
  for (const KeyValue& v : heater_values(c, rules)) out += v.key + " = " + v.value + '\n';
  return out;
}

}  // namespace

std::string heater_title(const Calibration& c) {
  std::string out = clean(c.heater.name);
  if (c.heater.head && c.heater.index) out += fmt::format(" (heater {})", *c.heater.index);
  return out;
}

std::string record_words(const CalibratedRecord& r) {
  const record::Summary& s = r.summary;
  std::string out =
      fmt::format("{}: {}, {}", clean(r.path, 4096), counted(s.lines, "line", "lines"),
                  counted(s.samples, "sample", "samples"));
  const auto say = [&](std::uint64_t n, const char* what) {
    if (n > 0) out += fmt::format(", {} {}", n, what);
  };
  say(s.echoes, "echoes");
  if (s.parts > 1) say(s.parts, "parts");
  say(s.repeated, "repeated");
  say(s.missing, "without a temperature");
  say(s.untimed, "without a time");
  say(s.unassigned, "of no known heater");
  say(s.damaged, "damaged");
  if (s.cut_off) out += ", the last line cut off";
  return out;
}

std::string used_words(const Calibration& c) {
  return fmt::format("{}, {}; {} of {} samples used, {:.0f} %",
                     counted(c.heat_ups, "heat-up", "heat-ups"),
                     counted(c.cool_downs, "cool-down", "cool-downs"), c.samples, c.samples_in_all,
                     100 * double(c.samples) / double(c.samples_in_all));
}

std::vector<Constant> constants_of(const Calibration& c) {
  std::vector<Constant> out{{"full_drive_c", c.full_drive_c},
                            {"time_constant_s", c.time_constant_s},
                            {"dead_time_s", c.dead_time_s}};
  if (c.cool_time_constant_s) {
    out.push_back(
        {"cool_time_constant_s", *c.cool_time_constant_s, c.unlike ? "" : "like time_constant_s"});
  }
  if (c.settle_s) out.push_back({"settle_s", *c.settle_s});
  if (c.approach_c) {
    out.push_back({"approach_c", *c.approach_c, c.climbs > 0 ? "" : "by the drive: not written"});
  }
  if (c.ambient_c.sd != 0) out.push_back({"ambient_c", c.ambient_c});
  return out;
}

Json number_json(double x) {
  if (!std::isfinite(x)) return nullptr;
  return std::stod(fmt::format("{:.6g}", x));
}

std::string value_text(const Estimate& e) {
  int digits = 1;
  if (std::isfinite(e.sd) && e.sd > 0) {
    digits = std::clamp(-int(std::floor(std::log10(e.sd))), 0, 3);
  }
  std::string out = number(e.value, digits);
  if (out.find('.') == std::string::npos) return out;
  while (out.back() == '0') out.pop_back();
  if (out.back() == '.') out.pop_back();
  return out;
}

std::string estimate_text(const Estimate& e, int most_digits) {
  if (!std::isfinite(e.sd) || e.sd <= 0) return value_text(e);
  const int digits = std::clamp(1 - int(std::floor(std::log10(e.sd))), 0, most_digits);
  return number(e.value, digits) + " +- " + number(e.sd, digits);
}

std::vector<KeyValue> heater_values(const Calibration& c, const rules::Rules& rules) {
  const std::size_t head = c.heater.head.value_or(0);
  const bool known = head < rules.toolheads.size();
  std::vector<KeyValue> out;
  for (const record::ToldKey& told :
       told_keys(c, known ? rules.toolheads[head].hotend.reached_c : 0)) {
    out.push_back({told.key, value_text(told.value)});
  }
  return out;
}

std::string calibration_text(const std::vector<CalibratedRecord>& records,
                             const std::vector<Calibration>& heaters, const rules::Rules& rules,
                             std::size_t width) {
  std::string out;
  for (const CalibratedRecord& r : records) out += record_words(r) + '\n';
  for (const Calibration& c : heaters) out += '\n' + heater_text(c, rules, width);
  return out;
}

Json heaters_json(const std::vector<Calibration>& heaters, const rules::Rules& rules) {
  Json list = Json::array();
  for (const Calibration& c : heaters) {
    Json& h = list.emplace_back(Json::object());
    h["heater"] = c.heater.index ? Json(*c.heater.index) : Json(c.heater.name);
    h["toolhead"] = c.heater.head ? Json(rules.toolheads[*c.heater.head].name) : Json(nullptr);
    const bool told = c.refused.empty();
    const auto add = [&](const char* key, const std::optional<Estimate>& e) {
      h[key] = told && e ? number_json(e->value) : Json(nullptr);
      h[std::string(key) + "_sd"] = told && e ? number_json(e->sd) : Json(nullptr);
    };
    add("full_drive_c", c.full_drive_c);
    add("time_constant_s", c.time_constant_s);
    add("dead_time_s", c.dead_time_s);
    // What the next ones count as reached; as exact as it is chosen.
    const bool settles = c.reached_c > 0 && (c.settle_s || c.climbs > 0);
    add("reached_c", settles ? std::optional(Estimate{c.reached_c, 0}) : std::nullopt);
    add("settle_s", c.settle_s);
    add("cool_time_constant_s", c.cool_time_constant_s);
    add("approach_c", c.approach_c);
    add("ambient_c", c.ambient_c);
    h["rms_c"] = told ? number_json(c.rms_c) : Json(nullptr);
    h["samples"] = c.samples;
    h["samples_in_all"] = c.samples_in_all;
    h["heat_ups"] = c.heat_ups;
    h["cool_downs"] = c.cool_downs;
    h["notes"] = c.notes;
    h["refused"] = told ? Json(nullptr) : Json(c.refused);
  }
  return list;
}

std::string calibration_json(const std::vector<Calibration>& heaters, const rules::Rules& rules) {
  Json out = json_begun();
  out["rules"] = rules_json(rules);
  out["heaters"] = heaters_json(heaters, rules);
  return written(out);
}

}  // namespace forewarm::report
