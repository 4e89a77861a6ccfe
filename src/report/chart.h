// Charts of a page, written as SVG: bars with a bound, and lines and points over two axes.
//
// Contract: pure. What comes out is well-formed, has role="img", a title and a description, and
// neither style nor script of its own: its colours are classes of page/charts.css. A unit of it is
// about a pixel where it is shown as wide as a phone, so its text is never smaller than on paper.
// Labels may come from jobs: they are escaped() and cut to the room there is. Nothing is told by
// colour alone: lines differ in dashes, points in shape, bars in fill. Numbers that are not finite
// are left out, and break a line.
//
// Thinning: of a line, the lowest and the highest of each column of a pixel are drawn; points that
// fall within three pixels of another are drawn once. Extremes are kept, and Drawn says so.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace forewarm::report {

enum class Scale : std::uint8_t {
  plain,
  count,     // whole numbers alone
  duration,  // seconds, shown as s, min or h
};

struct Tick {
  double at = 0;
  std::string label = {};
};

struct Axis {
  std::string words = {};  // "waiting"
  std::string unit = {};   // "min": that of the labels
  double from = 0, to = 1;
  std::vector<Tick> ticks = {};  // ascending; the first is at `from`, the last at `to`
};

// Over least to most, at 1, 2 or 5 times a power of ten, or at what is round on a clock; no more
// than `most_ticks` of them. A range of nothing gets some width. REQUIRES: finite numbers, three
// ticks or more.
[[nodiscard]] Axis axis_over(std::string words, double least, double most, Scale scale,
                             std::string unit = {}, std::size_t most_ticks = 6);
// "Waiting, min".
[[nodiscard]] std::string title_of(const Axis& axis);

// The SVG's name and what it shows, for who does not see it.
struct Heading {
  std::string title = {}, what = {};
};

struct Bar {
  enum class Fill : std::uint8_t { solid, light, outline };
  std::string label = {}, text = {};  // before and behind: "hold", "12 min 03 s"
  double value = 0;
  Fill fill = Fill::solid;
  std::optional<double> bound = {};  // drawn through it
};

constexpr double kChartWidth = 340;  // a phone's, without its margins

// Bars from 0 on, one below the other, each under its label and its figure. `bound_words` stand
// beside a sample of the bound's line: "bound 10.3 s".
[[nodiscard]] std::string bars_svg(const Heading& heading, const Axis& axis,
                                   std::span<const Bar> bars, const std::string& bound_words = {});

struct Point {
  double x = 0, y = 0;
};

struct Series {
  enum class Look : std::uint8_t { line, dashed, dotted, dots, crosses, diamonds, triangles };
  std::string name = {};  // in the key; empty: it is not there
  Look look = Look::line;
  unsigned tone = 0;  // 0 to kTones - 1: its colour
  std::vector<Point> points = {};
};
constexpr unsigned kTones = 4;
[[nodiscard]] constexpr bool is_line(Series::Look look) { return look <= Series::Look::dotted; }

// A line across the plot, with its name beside it.
struct Mark {
  double at = 0;
  std::string label = {};
};

struct Chart {
  Heading heading = {};
  Axis x = {}, y = {};
  std::vector<Series> series = {};
  std::vector<Mark> levels = {};   // such as a bound, at a y; the names of several would overlap
  std::vector<Mark> moments = {};  // such as the value in force, at an x
  bool zero = false;               // the grid's line at 0 is a strong one
  double width = kChartWidth, height = 230;
};

struct Drawn {
  std::string svg = {};
  bool thinned = false;  // some of the numbers have no mark of their own
};
[[nodiscard]] Drawn chart_svg(const Chart& chart);

// Of points by ascending x: the lowest and the highest of each of so many columns between `from`
// and `to`, in their order. A point that is not finite stays, as a break.
[[nodiscard]] std::vector<Point> thinned(std::span<const Point> points, double from, double to,
                                         std::size_t columns);

}  // namespace forewarm::report
