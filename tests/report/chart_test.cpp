#include "report/chart.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "markup.h"

using namespace forewarm::report;

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

std::string labels(const Axis& axis) {
  std::string out;
  for (const Tick& tick : axis.ticks) out += (out.empty() ? "" : " ") + tick.label;
  return out + (axis.unit.empty() ? "" : " " + axis.unit);
}

std::string over(double least, double most, Scale scale, std::size_t ticks = 6) {
  return labels(axis_over("x", least, most, scale, "", ticks));
}

std::size_t count_of(const std::string& text, std::string_view part) {
  std::size_t n = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++n;
  return n;
}

Chart chart_of(std::vector<Point> points, Series::Look look = Series::Look::line) {
  Chart out{.heading = {"Waiting", "How long it waits"}};
  double most = 1;
  for (const Point& p : points) {
    if (std::isfinite(p.y)) most = std::max(most, p.y);
  }
  const double last = points.empty() ? 1 : points.back().x;
  out.x = axis_over("job time", 0, last, Scale::duration);
  out.y = axis_over("waiting", 0, most, Scale::plain, "s");
  out.series = {{.name = "measured", .look = look, .points = std::move(points)}};
  return out;
}

}  // namespace

TEST_CASE("an axis has round steps") {
  CHECK(over(0, 1, Scale::plain) == "0.0 0.2 0.4 0.6 0.8 1.0");
  CHECK(over(0, 97, Scale::plain) == "0 20 40 60 80 100");
  CHECK(over(0, 100.1, Scale::plain) == "0 50 100 150");
  CHECK(over(18.2, 243, Scale::plain) == "0 50 100 150 200 250");
  CHECK(over(-0.31, 0.4, Scale::plain) == "-0.4 -0.2 0.0 0.2 0.4");
  CHECK(over(1e9, 1.2e9, Scale::plain, 4) == "1000000000 1100000000 1200000000");
  CHECK(over(0, 3, Scale::count) == "0 1 2 3");
  CHECK(over(0, 1, Scale::count) == "0 1");
  CHECK(over(2, 41, Scale::count) == "0 10 20 30 40 50");
}

TEST_CASE("an axis of durations has steps that are round on a clock, and one unit") {
  CHECK(over(0, 4, Scale::duration) == "0 1 2 3 4 s");
  CHECK(over(0, 55, Scale::duration) == "0 15 30 45 60 s");
  CHECK(over(0, 290, Scale::duration) == "0 1 2 3 4 5 min");
  CHECK(over(0, 3600, Scale::duration) == "0 15 30 45 60 min");
  CHECK(over(0, 5400, Scale::duration) == "0.0 0.5 1.0 1.5 h");
  CHECK(over(0, 47 * 3600, Scale::duration) == "0 12 24 36 48 h");
  CHECK(over(47 * 3600, 48 * 3600, Scale::duration, 4) == "47.0 47.5 48.0 h");
  CHECK(over(34200, 35700, Scale::duration) == "9:30 9:35 9:40 9:45 9:50 9:55 h:min");
  CHECK(over(-9000, -8100, Scale::duration, 4) == "-2:30 -2:25 -2:20 -2:15 h:min");
  CHECK(over(0, 30 * 86400, Scale::duration) == "0 240 480 720 h");
}

TEST_CASE("an axis spans what it is over, with no more ticks than asked for") {
  for (const Scale scale : {Scale::plain, Scale::count, Scale::duration}) {
    for (const std::size_t most_ticks : {3U, 4U, 6U, 12U}) {
      for (const double least : {-1234.5, -0.003, 0.0, 0.7, 59.9, 86399.0}) {
        for (const double span : {0.0, 1e-9, 0.004, 0.999, 7.0, 61.0, 3601.0, 1e6}) {
          CAPTURE(int(scale), most_ticks, least, span);
          const Axis axis = axis_over("x", least, least + span, scale, "", most_ticks);
          CHECK(axis.ticks.size() >= 2);
          CHECK(axis.ticks.size() <= most_ticks);
          CHECK(axis.from <= least + 1e-6 * std::abs(least));
          CHECK(axis.to >= (least + span) - 1e-6 * std::abs(least + span));
          CHECK(axis.ticks.front().at == axis.from);
          CHECK(axis.ticks.back().at == axis.to);
          for (std::size_t i = 1; i < axis.ticks.size(); ++i) {
            CHECK(axis.ticks[i - 1].label != axis.ticks[i].label);
          }
        }
      }
    }
  }
}

TEST_CASE("thinning keeps the lowest and the highest of each column") {
  std::vector<Point> points;
  for (int i = 0; i < 10000; ++i) points.push_back({double(i), std::sin(i * 0.7) * (i % 97)});
  points[4321].y = 1000;
  points[7777].y = -1000;
  const std::vector<Point> few = thinned(points, 0, 10000, 300);
  CHECK(few.size() <= 600);
  for (int column = 0; column < 300; ++column) {
    const auto within = [&](const Point& p) { return int(p.x * 300 / 10000) == column; };
    double low = 1e9, high = -1e9, few_low = 1e9, few_high = -1e9;
    for (const Point& p : points) {
      if (!within(p)) continue;
      low = std::min(low, p.y);
      high = std::max(high, p.y);
    }
    for (const Point& p : few) {
      if (!within(p)) continue;
      few_low = std::min(few_low, p.y);
      few_high = std::max(few_high, p.y);
    }
    CHECK(low == few_low);
    CHECK(high == few_high);
  }
  CHECK(std::is_sorted(few.begin(), few.end(), [](auto& a, auto& b) { return a.x < b.x; }));
}

TEST_CASE("a line says whether it was thinned, and stays small") {
  std::vector<Point> few, many;
  for (int i = 0; i < 100; ++i) few.push_back({i * 10.0, double(i % 7)});
  for (int i = 0; i < 100000; ++i) many.push_back({double(i), double(i % 7)});
  CHECK_FALSE(chart_svg(chart_of(few)).thinned);
  const Drawn drawn = chart_svg(chart_of(many));
  CHECK(drawn.thinned);
  CHECK(drawn.svg.size() < 12000);
  const Drawn dots = chart_svg(chart_of(many, Series::Look::dots));
  CHECK(dots.thinned);
  CHECK(dots.svg.size() < 60000);
  CHECK_FALSE(chart_svg(chart_of(few, Series::Look::dots)).thinned);
}

TEST_CASE("points that are many keep the highest and the lowest of them all") {
  // Both stand so close to others that they would share a place with them.
  std::vector<Point> points;
  for (int i = 0; i < 50000; ++i) points.push_back({double(i), 50.0 + i % 40});
  points[25001].y = 89.9;
  points[25002].y = 49.1;
  const auto lowest_and_highest = [](Chart chart) {
    chart.x = axis_over("job time", 0, 50000, Scale::duration);
    chart.y = axis_over("waiting", 0, 100, Scale::plain, "s");
    const std::string svg = chart_svg(chart).svg;
    const std::size_t path = svg.find("<path class=\"dots");
    const std::size_t end = svg.find("\"/>", path);
    std::pair<double, double> out{1e9, -1e9};
    for (std::size_t at = svg.find('M', path); at < end; at = svg.find('M', at + 1)) {
      const double y = std::stod(svg.substr(svg.find(' ', at) + 1));
      out = {std::min(out.first, y), std::max(out.second, y)};
    }
    return out;
  };
  const auto alone =
      lowest_and_highest(chart_of({points[25001], points[25002]}, Series::Look::dots));
  CHECK(lowest_and_highest(chart_of(points, Series::Look::dots)) == alone);
}

TEST_CASE("what is not finite breaks a line and draws no point") {
  const std::string svg = chart_svg(chart_of({{0, 1}, {10, 2}, {20, kNan}, {30, 1}, {40, 2}})).svg;
  const std::size_t at = svg.find(" d=\"");
  const std::string path = svg.substr(at, svg.find('"', at + 4) - at);
  CHECK(count_of(path, "M") == 2);
  CHECK(count_of(path, "L") == 2);
  CHECK(svg.find("nan") == std::string::npos);
  const Chart dots = chart_of({{0, 1}, {10, kNan}, {20, 2}}, Series::Look::crosses);
  const std::string crosses = chart_svg(dots).svg;
  CHECK(count_of(crosses, "m-2.5-2.5l5 5m0-5l-5 5") == 3);  // two points, and the key
}

TEST_CASE("a chart marks a bound and a value in force, and names both") {
  Chart chart = chart_of({{0, 1}, {600, 5}});
  chart.levels = {{2, "bound 2.0 s"}};
  chart.moments = {{300, "in force"}};
  const std::string svg = chart_svg(chart).svg;
  CHECK(broken_markup(svg) == "");
  CHECK(count_of(svg, "<line class=\"bound\"") == 1);
  CHECK(count_of(svg, "<line class=\"moment\"") == 1);
  CHECK(svg.find(">bound 2.0 s</text>") != std::string::npos);
  CHECK(svg.find(">in force</text>") != std::string::npos);
  CHECK(svg.find(">Waiting, s</text>") != std::string::npos);
  CHECK(svg.find(">Job time, min</text>") != std::string::npos);
}

TEST_CASE("bars stand on 0, with label, figure and bound") {
  const std::vector<Bar> bars{
      {.label = "as sliced", .text = "40.0 s", .value = 40, .fill = Bar::Fill::light},
      {.label = "lookahead *", .text = "10.0 s", .value = 10, .bound = 10.0},
      {.label = "hold", .text = "", .value = kNan, .fill = Bar::Fill::outline}};
  const Axis axis = axis_over("waiting", 0, 40, Scale::duration);
  const std::string svg = bars_svg({"Waiting", "By policy"}, axis, bars);
  CHECK(broken_markup(svg) == "");
  CHECK(svg.find("role=\"img\">\n<title>Waiting</title>\n<desc>By policy</desc>") !=
        std::string::npos);
  CHECK(svg.find("<rect class=\"bar light\" x=\"14\" y=\"22\" width=\"312\"") != std::string::npos);
  CHECK(svg.find("<rect class=\"bar\" x=\"14\" y=\"56\" width=\"78\"") != std::string::npos);
  CHECK(count_of(svg, "<rect class=\"bar") == 2);
  CHECK(count_of(svg, "<line class=\"bound\" x1=\"92\"") == 1);
  CHECK(svg.find(">40.0 s</text>") != std::string::npos);
}

TEST_CASE("hostile names stay text, and within the drawing") {
  const std::vector<std::string> names{"</script><script>alert(1)</script>",
                                       "\"' onload=\"alert(1)",
                                       "a\x01\x02\x1b[31m\x7f",
                                       "ash\xe2\x80\xae"
                                       "gpj",
                                       "\xff\xfe",
                                       std::string(10000, 'x'),
                                       "<svg/onload=alert(1)>&amp;"};
  const Axis axis = axis_over("waiting", 0, 40, Scale::duration);
  for (const std::string& name : names) {
    CAPTURE(name.substr(0, 40));
    const std::vector<Bar> bars{{.label = name, .text = "1.0 s", .value = 1}};
    Chart chart = chart_of({{0, 1}, {600, 5}});
    chart.series.front().name = name;
    chart.heading.title = chart.heading.what = name;
    chart.levels = {{2, name}};
    chart.x.words = chart.y.words = name;
    for (const std::string& svg : {bars_svg({name, name}, axis, bars), chart_svg(chart).svg}) {
      CHECK(broken_markup(svg) == "");
      CHECK(svg.find("<script") == std::string::npos);
      CHECK(svg.find(" onload=\"") == std::string::npos);
      CHECK(svg.find("\xe2\x80\xae") == std::string::npos);
      CHECK(std::none_of(svg.begin(), svg.end(), [](char c) {
        return (static_cast<unsigned char>(c) < 0x20 && c != '\n') || c == 0x7f;
      }));
      CHECK(svg.size() < 16000);
      // Text that is drawn fits in; the title may be longer.
      for (std::size_t at = svg.find("<text"); at != std::string::npos;
           at = svg.find("<text", at + 1)) {
        const std::size_t from = svg.find('>', at) + 1;
        CHECK(svg.find("</text>", from) - from < 300);
      }
    }
  }
}

TEST_CASE("a chart of nothing is one without marks") {
  const Drawn drawn = chart_svg(chart_of({}));
  CHECK(broken_markup(drawn.svg) == "");
  CHECK_FALSE(drawn.thinned);
  CHECK(drawn.svg.find("<path") == std::string::npos);
}
