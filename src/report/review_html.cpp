// What `review` found, as a page.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "report/chart_page.h"
#include "report/figures.h"
#include "report/review_parts.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kPrintsShown = 4;
constexpr std::size_t kChangesShown = 200;
constexpr std::size_t kMoments = 16;  // of a temperature's table
constexpr double kBreak = std::numeric_limits<double>::quiet_NaN();
// With no reading for longer, a line would tell of what nobody has measured. Common practice, no
// source.
constexpr double kSilentS = 120;

Column column(std::string head, Column::Kind kind = Column::Kind::number) {
  return {.head = std::move(head), .kind = kind};
}

Cell optional_cell(const std::optional<double>& x, Unit unit, int decimals = 1) {
  if (!x) return {};
  return Amount{*x, unit, decimals};
}

// A table of texts; heads that are empty get those of the page.
Table table_of(const Rows& rows, std::vector<std::string> page_heads, std::size_t left) {
  Table out;
  auto own = page_heads.begin();
  for (std::size_t i = 0; i < rows.front().size(); ++i) {
    Column c{.head = rows.front()[i],
             .kind = i == 0     ? Column::Kind::name
                     : i < left ? Column::Kind::text
                                : Column::Kind::number};
    if (c.head.empty() && own != page_heads.end()) c.page_head = *own++;
    out.columns.push_back(std::move(c));
  }
  for (std::size_t r = 1; r < rows.size(); ++r) {
    Row& row = out.rows.emplace_back();
    row.cells.insert(row.cells.end(), rows[r].begin(), rows[r].end());
  }
  return out;
}

class Page {
 public:
  explicit Page(const Reviewed& r) : r_(r), page_(title(r), lines(r)) {
    changes_.resize(r.review.prints);
    for (const review::ChangeSeen& seen : r.review.changes) {
      if (seen.print < changes_.size()) changes_[seen.print].push_back(&seen);
    }
  }

  std::string run() {
    page_.section("What the record lacks");
    const auto lacking = lacks();
    page_.list(lacking);
    if (lacking.empty()) page_.words("Nothing that is shown here.");
    time();
    const std::size_t shown = std::min(kPrintsShown, r_.review.ends.size());
    for (std::size_t p = 0; p < shown; ++p) print(p);
    if (shown < r_.review.ends.size()) {
      page_.words(fmt::format("{} more have no charts here; their changes are in the table.",
                              counted(r_.review.ends.size() - shown, "print", "prints")));
    }
    changes();
    findings();
    return page_.done();
  }

 private:
  static std::string title(const Reviewed& r) {
    std::string out = r.records.empty() ? "" : r.records.front().path;
    if (r.records.size() > 1) out += fmt::format(" and {} more", r.records.size() - 1);
    return out;
  }

  static std::vector<std::string> lines(const Reviewed& r) {
    std::vector<std::string> out{
        fmt::format("Prints on {}, against their plan", clean(r.rules.machine.name))};
    for (const CalibratedRecord& c : r.records) out.push_back(record_line(c));
    out.push_back(prints_words(r.review));
    out.push_back("Rules: " + rules_words(r.rules));
    return out;
  }

  // ------------------------------------------------------------------------------------- lacking

  [[nodiscard]] std::vector<std::string> lacks() const {
    const review::Review& v = r_.review;
    std::vector<std::string> out;
    if (v.by_selects) {
      out.push_back(
          "Echoes: changes are known by the selects that the host sent, so what a change took, and "
          "what was waited for it, is not told.");
    }
    if (v.missing_echoes > 0) {
      out.push_back(fmt::format("{} of the job's {}: what they begin or end is in no sum.",
                                v.missing_echoes, v.by_selects ? "selects" : "echoes"));
    }
    if (v.unknown_echoes > 0) {
      out.push_back(
          fmt::format("A job that has {} of its {}: they are of none of this job's "
                      "changes.",
                      v.unknown_echoes, v.by_selects ? "selects" : "echoes"));
    }
    for (std::size_t p = 0; p < v.ends.size(); ++p) {
      if (!v.ends[p].whole) out.push_back(fmt::format("The end of print {}.", p + 1));
      if (!v.ends[p].zero_s) out.push_back(fmt::format("When print {} began.", p + 1));
    }
    for (std::size_t h = 0; h < r_.schedule.heads; ++h) {
      const bool any = std::any_of(r_.temperatures.begin(), r_.temperatures.end(),
                                   [h](const auto& t) { return t.readings(h) > 0; });
      if (!any) out.push_back(fmt::format("Temperatures of {}.", head_name(r_, h)));
    }
    std::size_t no_start = 0, no_length = 0, no_wait = 0;
    for (const review::ChangeSeen& seen : v.changes) {
      no_start += seen.at_s ? 0U : 1U;
      no_length += seen.took_s ? 0U : 1U;
      no_wait += !seen.wait_s && waits(r_.schedule.changes[seen.change]) ? 1U : 0U;
    }
    const auto say = [&](std::size_t n, const char* what) {
      if (n > 0) out.push_back(fmt::format("{} of {} changes.", what, n));
    };
    say(no_start, "When it came,");
    say(no_length, "What it took,");
    say(no_wait, "What was waited for it,");
    for (const CalibratedRecord& c : r_.records) {
      const record::Summary& s = c.summary;
      const std::string name = clean(c.path);
      if (s.parts > 1) {
        out.push_back(
            fmt::format("One time scale: {} has {} parts, and what is in two of them is "
                        "not compared.",
                        name, s.parts));
      }
      if (s.missing > 0) {
        out.push_back(fmt::format("A temperature in {} of {}.",
                                  counted(s.missing, "reading", "readings"), name));
      }
      if (s.damaged > 0) {
        out.push_back(
            fmt::format("{} of {}, which are damaged.", counted(s.damaged, "line", "lines"), name));
      }
      if (s.cut_off) out.push_back("The last line of " + name + ", which is cut off.");
    }
    return out;
  }

  static bool waits(const review::PlannedChange& c) { return c.waits_before + c.waits_after > 0; }
  static double planned_wait_s(const review::PlannedChange& c) {
    return c.wait_before_s + c.wait_after_s;
  }

  // ------------------------------------------------------------------------------- where time went

  void time() {
    page_.section("Where the time went");
    const Rows rows = time_rows(r_);
    if (rows.empty()) {
      page_.words(kNoTimes);
      return;
    }
    const review::Review& v = r_.review;
    std::vector<Bar> bars;
    double most = 0;
    std::string what;
    for (const CauseOfTime& c : kCausesOfTime) {
      const double planned_s = v.planned.*c.time, actual_s = v.actual.*c.time;
      if (planned_s < kSomeWaitS && actual_s < kSomeWaitS) continue;
      bars.push_back({fmt::format("{}, planned", c.words),
                      duration(planned_s),
                      planned_s,
                      Bar::Fill::outline,
                      {}});
      bars.push_back(
          {fmt::format("{}, actual", c.words), duration(actual_s), actual_s, Bar::Fill::solid, {}});
      most = std::max({most, planned_s, actual_s});
      what += fmt::format("{}{}: planned {}, actual {}", what.empty() ? "" : "; ", c.words,
                          duration(planned_s), duration(actual_s));
    }
    page_.charts_begin();
    page_.bars({.title = "Time, planned and actual", .what = what},
               axis_over("time", 0, most, Scale::duration, "", 6), bars);
    page_.charts_end();
    page_.narrow_table(table_of(rows, {}, 1));
  }

  // --------------------------------------------------------------------------------- of each print

  // Until when there is something of it, as the plan counts.
  [[nodiscard]] double end_of(std::size_t p) const {
    const review::PrintEnd& end = r_.review.ends[p];
    double last_s = 0;
    for (const review::ChangeSeen* seen : changes_[p]) {
      if (seen->at_s) last_s = std::max(last_s, *seen->at_s + seen->took_s.value_or(0));
    }
    if (end.end_s && end.zero_s) return std::max(last_s, *end.end_s - *end.zero_s);
    constexpr double kMoreS = 60;
    return end.whole ? std::max(last_s, r_.schedule.end_s) : last_s + kMoreS;
  }

  // As the plan counts; breaks where nothing was measured for long.
  [[nodiscard]] std::vector<Point> measured(std::size_t p, std::size_t head, double to_s) const {
    const review::PrintEnd& end = r_.review.ends[p];
    std::vector<Point> out;
    if (!end.zero_s || end.record >= r_.temperatures.size()) return out;
    for (const auto& reading : r_.temperatures[end.record].of(head)) {
      const double at_s = reading.time_s - *end.zero_s;
      if (reading.part != end.part || at_s < 0 || at_s > to_s) continue;
      if (!out.empty() && at_s - out.back().x > kSilentS) out.push_back({at_s, kBreak});
      out.push_back({at_s, reading.temp_c});
    }
    return out;
  }

  [[nodiscard]] std::vector<Point> planned(std::size_t head) const {
    std::vector<Point> out;
    if (r_.trace == nullptr || head >= r_.trace->heaters.size()) return out;
    for (const plan::Trace::Point& at : r_.trace->heaters[head].temperature) {
      out.push_back({at.at_s, at.temp_c});
    }
    return out;
  }

  // Of a line through points by ascending x; not finite where there is none.
  static double value_at(const std::vector<Point>& line, double x) {
    const auto after = std::upper_bound(line.begin(), line.end(), x,
                                        [](double at, const Point& p) { return at < p.x; });
    if (after == line.begin()) return kBreak;
    const Point& a = *(after - 1);
    if (after == line.end()) return a.x == x ? a.y : kBreak;
    if (after->x <= a.x) return after->y;
    return a.y + (after->y - a.y) * (x - a.x) / (after->x - a.x);
  }

  void print(std::size_t p) {
    page_.section(fmt::format("Print {}", p + 1));
    page_.words(
        "Time is the job's, from its start on as the plan counts, waits included. A line of dashes "
        "is planned, a full one measured.");
    if (!r_.review.ends[p].zero_s) {
      page_.words("When it began is not told, so nothing can be put beside the plan.");
      return;
    }
    const double to_s = std::max({end_of(p), r_.schedule.end_s, 1.0});
    for (std::size_t h = 0; h < r_.schedule.heads; ++h) temperature(p, h, to_s);
    page_.charts_begin();
    deviation(p, to_s);
    lengths(p, to_s);
    waiting(p, to_s);
    page_.charts_end();
  }

  void temperature(std::size_t p, std::size_t head, double to_s) {
    const std::string name = head_name(r_, head);
    const std::vector<Point> actual = measured(p, head, to_s), model = planned(head);
    if (actual.empty() && model.empty()) return;
    Chart chart{.heading = {.title = fmt::format("Temperature of {}", name)}};
    chart.series.push_back({.name = "measured", .look = Series::Look::line, .points = actual});
    chart.series.push_back(
        {.name = "planned", .look = Series::Look::dashed, .tone = 1, .points = model});
    double most = 1;
    for (const auto* line : {&actual, &model}) {
      for (const Point& at : *line) {
        if (std::isfinite(at.y)) most = std::max(most, at.y);
      }
    }
    chart.y = axis_over("temperature", 0, most * 1.02, Scale::plain, "°C", 6);
    chart.x = axis_over("job time", 0, to_s, Scale::duration, "", 7);
    // On two levels near the foot, where no hot end is for long.
    const double step = (chart.y.to - chart.y.from) / 16;
    Series planned_at{.name = "change, planned", .look = Series::Look::diamonds, .tone = 1};
    Series actual_at{.name = "change, actual", .look = Series::Look::triangles, .tone = 0};
    for (const review::ChangeSeen* seen : changes_[p]) {
      const review::PlannedChange& c = r_.schedule.changes[seen->change];
      if (c.head != head) continue;
      planned_at.points.push_back({c.at_s, chart.y.from + step});
      if (seen->at_s) actual_at.points.push_back({*seen->at_s, chart.y.from + 2.2 * step});
    }
    std::sort(actual_at.points.begin(), actual_at.points.end(),
              [](const Point& a, const Point& b) { return a.x < b.x; });
    chart.heading.what =
        fmt::format("Measured and planned temperature over {}, and {} of it, planned and actual",
                    duration(to_s), counted(planned_at.points.size(), "change", "changes"));
    chart.series.push_back(std::move(planned_at));
    chart.series.push_back(std::move(actual_at));
    chart.height = 260;
    if (actual.empty()) page_.words(fmt::format("The record has no temperature of {}.", name));
    page_.broad_chart(std::move(chart));
    page_.folded(fmt::format("Temperature of {} in figures", name),
                 temperature_table(actual, model, to_s));
  }

  static Table temperature_table(const std::vector<Point>& actual, const std::vector<Point>& model,
                                 double to_s) {
    Table out{.columns = {{.head = "time", .kind = Column::Kind::name},
                          column("measured"),
                          column("planned"),
                          column("difference")}};
    const auto cell = [](double temp_c) -> Cell {
      if (!std::isfinite(temp_c)) return {};
      return Amount{temp_c, Unit::celsius, 1};
    };
    for (std::size_t i = 0; i < kMoments; ++i) {
      const double at_s = to_s * double(i) / double(kMoments - 1);
      const double measured_c = value_at(actual, at_s), planned_c = value_at(model, at_s);
      out.rows.push_back({.cells = {clock(at_s), cell(measured_c), cell(planned_c),
                                    cell(measured_c - planned_c)}});
    }
    out.note = "Between two readings, what a line from one to the other has.";
    return out;
  }

  // What each change of a print has, by its planned time; nothing: left out.
  template <class Value>
  [[nodiscard]] std::vector<Point> of_changes(std::size_t p, Value value) const {
    std::vector<Point> out;
    for (const review::ChangeSeen* seen : changes_[p]) {
      const review::PlannedChange& c = r_.schedule.changes[seen->change];
      const std::optional<double> y = value(*seen, c);
      if (y) out.push_back({c.at_s, *y});
    }
    return out;
  }

  void over_time(Chart chart, std::string words, double to_s) {
    double least = 0, most = 0;
    std::size_t count = 0;
    for (const Series& s : chart.series) {
      for (const Point& at : s.points) {
        least = std::min(least, at.y);
        most = std::max(most, at.y);
      }
      count += s.points.size();
    }
    if (count == 0) {
      chart.heading.what += "; the record tells of none";
    } else {
      chart.heading.what += fmt::format("; up to {}", duration(most));
    }
    chart.x = axis_over("planned job time", 0, to_s, Scale::duration, "", 6);
    chart.y = axis_over(std::move(words), least, most, Scale::duration, "", 6);
    chart.zero = true;
    page_.chart(chart);
  }

  void deviation(std::size_t p, double to_s) {
    Chart chart{.heading = {.title = "Changes: later than planned",
                            .what = "How much later than planned each change came; earlier is "
                                    "below 0"}};
    chart.series.push_back({.name = "change",
                            .look = Series::Look::dots,
                            .points = of_changes(p, [](const auto& seen, const auto& c) {
                              return seen.at_s ? std::optional(*seen.at_s - c.at_s) : std::nullopt;
                            })});
    over_time(std::move(chart), "later than planned", to_s);
  }

  void lengths(std::size_t p, double to_s) {
    Chart chart{
        .heading = {.title = "Changes: what they took",
                    .what = "What each change was to take, and what it took, stops left out"}};
    chart.series.push_back({.name = "planned",
                            .look = Series::Look::crosses,
                            .tone = 1,
                            .points = of_changes(p, [](const auto&, const auto& c) {
                              return std::optional(c.takes_s());
                            })});
    chart.series.push_back({.name = "actual",
                            .look = Series::Look::dots,
                            .points = of_changes(p, [](const auto& seen, const auto&) {
                              return seen.took_s ? std::optional(*seen.took_s - seen.stop_s)
                                                 : std::nullopt;
                            })});
    over_time(std::move(chart), "time of a change", to_s);
  }

  void waiting(std::size_t p, double to_s) {
    Chart chart{.heading = {.title = "Waits for changes",
                            .what = "What was to be waited for each change, and what was"}};
    chart.series.push_back({.name = "planned",
                            .look = Series::Look::crosses,
                            .tone = 1,
                            .points = of_changes(p, [](const auto&, const auto& c) {
                              return waits(c) ? std::optional(planned_wait_s(c)) : std::nullopt;
                            })});
    chart.series.push_back(
        {.name = "measured",
         .look = Series::Look::dots,
         .points = of_changes(p, [](const auto& seen, const auto&) { return seen.wait_s; })});
    over_time(std::move(chart), "waiting", to_s);
  }

  // -------------------------------------------------------------------------------------- changes

  void changes() {
    if (r_.review.changes.empty()) return;
    page_.section("Changes");
    Table out{.columns = {column("print", Column::Kind::name), column("line"),
                          column("tool", Column::Kind::text),
                          column("toolhead", Column::Kind::text), column("planned at"),
                          column("actual at"), column("planned"), column("actual"),
                          column("planned wait"), column("waited"), column("needed at"),
                          column("had"), column("stopped")}};
    const std::size_t shown = std::min(kChangesShown, r_.review.changes.size());
    for (std::size_t i = 0; i < shown; ++i) {
      const review::ChangeSeen& seen = r_.review.changes[i];
      const review::PlannedChange& c = r_.schedule.changes[seen.change];
      Row row{.cells = {
                  fmt::format("{}", seen.print + 1), Amount{double(c.line), Unit::count, 0},
                  c.tool < 0 ? std::string("-") : fmt::format("T{}", c.tool), head_name(r_, c.head),
                  Amount{c.at_s, Unit::clock, 0}, optional_cell(seen.at_s, Unit::clock),
                  Amount{c.takes_s(), Unit::seconds, 1}, optional_cell(seen.took_s, Unit::seconds),
                  waits(c) ? Cell(Amount{planned_wait_s(c), Unit::seconds, 1}) : Cell(),
                  optional_cell(seen.wait_s, Unit::seconds),
                  c.needed_c > 0 ? Cell(Amount{c.needed_c, Unit::celsius, 0}) : Cell(),
                  optional_cell(seen.at_need_c, Unit::celsius),
                  seen.stop_s > 0 ? Cell(Amount{seen.stop_s, Unit::seconds, 1}) : Cell()}};
      if (seen.late_s && *seen.late_s > review::kLateS) row.mark = Row::Mark::late;
      out.rows.push_back(std::move(row));
    }
    out.note = "An empty place is something that the record does not tell.";
    if (shown < r_.review.changes.size()) {
      out.note += fmt::format(" These are the first {} of {} changes; --csv has all.", shown,
                              r_.review.changes.size());
    }
    page_.table(out);
  }

  // ------------------------------------------------------------------------------------- findings

  void findings() {
    page_.section("Uses on time");
    page_.words(on_time_words(r_));
    if (const auto late = late_words(r_); !late.empty()) {
      page_.words("The worst:");
      page_.list(late);
    }
    if (const Rows rows = stats_rows(r_); !rows.empty()) {
      page_.section("What changes take");
      page_.words(capitalised(stats_words(r_)));
      page_.table(table_of(rows, {"Kind", "Toolhead"}, 2));
      if (r_.review.sequences_untold) page_.words(kSequencesUntold);
    }
    page_.section("Stops");
    page_.words(counted(r_.review.stops.size(), "stop", "stops") + ".");
    auto words = stop_words(r_);
    const auto odds = odds_words(r_);
    words.insert(words.end(), odds.begin(), odds.end());
    page_.list(words);
    page_.section("Pace and heaters");
    page_.words(scale_words(r_.review.scale) + (r_.review.scale.stretches < 2 ? "" : "."));
    page_.list(heater_words(r_));
    if (const Rows rows = spool_rows(r_); !rows.empty()) {
      page_.section("Spools");
      page_.narrow_table(table_of(rows, {}, 1));
      page_.list(spool_words(r_));
    }
    if (const Rows rows = suggestion_rows(r_); !rows.empty()) {
      page_.section("What to change");
      page_.words("Certain enough to be written are those with a *.");
      page_.table(table_of(rows, {"Certain"}, 1));
      if (r_.bought) page_.words(bought_words(*r_.bought));
    }
  }

  const Reviewed& r_;
  std::vector<std::vector<const review::ChangeSeen*>> changes_;  // by print
  ChartPage page_;
};

}  // namespace

std::string review_html(const Reviewed& r) { return Page(r).run(); }

}  // namespace forewarm::report
