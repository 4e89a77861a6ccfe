// What records tell of heaters, as a page.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/calibration.h"
#include "report/chart_page.h"
#include "report/figures.h"

namespace forewarm::report {

namespace {

using record::Calibration;
using Stretch = std::vector<Calibration::Residual>;

// Of a stretch in the table; fewer where there are many.
constexpr std::size_t kMostRows = 12, kLeastRows = 4, kRowsInAll = 96;
constexpr std::array kLooks{Series::Look::dots, Series::Look::crosses, Series::Look::diamonds,
                            Series::Look::triangles};

// Heat-ups or cool-downs of one heater.
struct Stage {
  std::string name;  // "heat-up"
  std::span<const Stretch> stretches;
};

class Page {
 public:
  Page(const std::vector<CalibratedRecord>& records, const std::vector<Calibration>& heaters,
       const rules::Rules& rules)
      : heaters_(heaters), rules_(rules), page_(title(records), lines(records, rules)) {}

  std::string run() {
    for (const Calibration& c : heaters_) {
      page_.section(heater_title(c));
      if (!c.refused.empty()) {
        page_.words("Nothing can be told: " + clean(c.refused, 4096));
        continue;
      }
      heater(c);
    }
    return page_.done();
  }

 private:
  static std::string title(const std::vector<CalibratedRecord>& records) {
    std::string out = records.empty() ? "" : records.front().path;
    if (records.size() > 1) out += fmt::format(" and {} more", records.size() - 1);
    return out;
  }

  static std::vector<std::string> lines(const std::vector<CalibratedRecord>& records,
                                        const rules::Rules& rules) {
    std::vector<std::string> out{"Heater constants as measured"};
    for (const CalibratedRecord& r : records) out.push_back(record_words(r));
    out.push_back("Rules: " + rules_words(rules));
    return out;
  }

  void heater(const Calibration& c) {
    page_.words(capitalised(used_words(c)) + ".");
    Table constants{.columns = {{.head = "key", .kind = Column::Kind::name},
                                {.head = "value", .kind = Column::Kind::text}},
                    .note = "+- is a standard error."};
    for (const Constant& constant : constants_of(c)) {
      std::string value = estimate_text(constant.value);
      if (*constant.note != 0) value += fmt::format(" ({})", constant.note);
      constants.rows.push_back({.cells = {std::string(constant.key), std::move(value)}});
    }
    page_.narrow_table(constants);
    const std::span<const Stretch> all = c.residuals;
    const std::size_t heats = std::min(c.heat_ups, all.size());
    page_.charts_begin();
    for (const Stage& stage :
         {Stage{"heat-up", all.first(heats)}, Stage{"cool-down", all.subspan(heats)}}) {
      if (stage.stretches.empty()) continue;
      temperatures(stage);
      residuals(stage, c);
    }
    page_.charts_end();
    page_.words(fmt::format(
        "A residual is a reading less what the model has then; rms {} C over all of them.",
        number(c.rms_c, 3)));
    page_.list(c.notes);
    page_.folded("The curves in figures", figures(all, heats));
    const std::vector<KeyValue> values = heater_values(c, rules_);
    Table lines{.columns = {{.head = "key", .kind = Column::Kind::name},
                            {.head = "value", .kind = Column::Kind::text}}};
    for (const KeyValue& v : values) lines.rows.push_back({.cells = {v.key, v.value}});
    page_.heading(fmt::format(
        "For [toolhead.heater] of {}",
        c.heater.head ? clean(rules_.toolheads[*c.heater.head].name) : clean(c.heater.name)));
    page_.narrow_table(lines);
  }

  static double fitted(const Calibration::Residual& r) { return r.temperature_c - r.residual_c; }

  // All stretches of a stage, each from its own beginning on.
  template <class Value>
  static std::vector<Point> points_of(const Stretch& stretch, Value value) {
    std::vector<Point> out;
    for (const Calibration::Residual& r : stretch) {
      out.push_back({r.time_s - stretch.front().time_s, value(r)});
    }
    return out;
  }

  // Over all points of all series.
  static void set_axes(Chart& chart, std::string words, bool with_zero) {
    double longest = 0, least = HUGE_VAL, most = -HUGE_VAL;
    for (const Series& s : chart.series) {
      for (const Point& p : s.points) {
        if (!std::isfinite(p.x) || !std::isfinite(p.y)) continue;
        longest = std::max(longest, p.x);
        least = std::min(least, p.y);
        most = std::max(most, p.y);
      }
    }
    if (!(least <= most)) least = most = 0;
    if (with_zero) {
      least = std::min(least, 0.0);
      most = std::max(most, 0.0);
    }
    chart.x = axis_over("from its beginning", 0, longest, Scale::duration, "", 6);
    chart.y = axis_over(std::move(words), least, most, Scale::plain, "°C", 6);
    chart.heading.what +=
        fmt::format("; {} to {} C over {}", number(least, 1), number(most, 1), duration(longest));
  }

  // A series for each stretch, or, where marks are too few to tell them apart, one for all.
  template <class Value>
  static void add_points(Chart& chart, const Stage& stage, Value value) {
    const std::size_t count = stage.stretches.size();
    if (count <= kLooks.size()) {
      for (std::size_t i = 0; i < count; ++i) {
        chart.series.push_back({.name = fmt::format("{} {}", stage.name, i + 1),
                                .look = kLooks[i],
                                .tone = unsigned(i % 3),
                                .points = points_of(stage.stretches[i], value)});
      }
      return;
    }
    Series all{.name = fmt::format("{} {}s", count, stage.name), .look = Series::Look::dots};
    for (const Stretch& stretch : stage.stretches) {
      const auto points = points_of(stretch, value);
      all.points.insert(all.points.end(), points.begin(), points.end());
    }
    std::stable_sort(all.points.begin(), all.points.end(),
                     [](const Point& a, const Point& b) { return a.x < b.x; });
    chart.series.push_back(std::move(all));
  }

  void temperatures(const Stage& stage) {
    Chart chart{
        .heading = {
            .title = fmt::format("{}: measured and fitted", capitalised(stage.name + "s")),
            .what = fmt::format("Readings of {} as points, the model as a line",
                                counted(stage.stretches.size(), stage.name, stage.name + "s"))}};
    add_points(chart, stage, [](const auto& r) { return r.temperature_c; });
    // Above the points, which are many.
    for (std::size_t i = 0; i < stage.stretches.size(); ++i) {
      chart.series.push_back({.name = i == 0 ? "fitted" : "",
                              .look = Series::Look::line,
                              .tone = kTones - 1,
                              .points = points_of(stage.stretches[i], fitted)});
    }
    set_axes(chart, "temperature", false);
    page_.chart(chart);
  }

  void residuals(const Stage& stage, const Calibration& c) {
    Chart chart{
        .heading = {.title = fmt::format("{}: residuals", capitalised(stage.name + "s")),
                    .what = fmt::format("Readings less the model; rms {} C", number(c.rms_c, 3))}};
    add_points(chart, stage, [](const auto& r) { return r.residual_c; });
    set_axes(chart, "residual", true);
    chart.zero = true;
    page_.chart(chart);
  }

  // Of each stretch some moments, evenly apart, with the first and the last.
  static Table figures(std::span<const Stretch> stretches, std::size_t heats) {
    Table out{.columns = {{.head = "stretch", .kind = Column::Kind::name},
                          {.head = "time", .kind = Column::Kind::number},
                          {.head = "measured"},
                          {.head = "fitted"},
                          {.head = "residual"}}};
    bool thinned = false;
    const std::size_t each =
        std::clamp(kRowsInAll / std::max<std::size_t>(stretches.size(), 1), kLeastRows, kMostRows);
    for (std::size_t i = 0; i < stretches.size(); ++i) {
      const Stretch& stretch = stretches[i];
      const std::string name =
          i < heats ? fmt::format("heat-up {}", i + 1) : fmt::format("cool-down {}", i - heats + 1);
      const std::size_t rows = std::min(each, stretch.size());
      thinned = thinned || rows < stretch.size();
      for (std::size_t k = 0; k < rows; ++k) {
        const std::size_t at = rows == 1 ? 0 : k * (stretch.size() - 1) / (rows - 1);
        const Calibration::Residual& r = stretch[at];
        out.rows.push_back(
            {.cells = {name, Amount{r.time_s - stretch.front().time_s, Unit::seconds, 1},
                       Amount{r.temperature_c, Unit::celsius, 1},
                       Amount{fitted(r), Unit::celsius, 1},
                       Amount{r.residual_c, Unit::celsius, 2}}});
      }
    }
    if (thinned) {
      out.note = fmt::format(
          "Of each stretch {} readings, evenly apart, its first and last among "
          "them.",
          each);
    }
    return out;
  }

  const std::vector<Calibration>& heaters_;
  const rules::Rules& rules_;
  ChartPage page_;
};

}  // namespace

std::string calibration_html(const std::vector<CalibratedRecord>& records,
                             const std::vector<Calibration>& heaters, const rules::Rules& rules) {
  return Page(records, heaters, rules).run();
}

}  // namespace forewarm::report
