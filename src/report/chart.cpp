#include "report/chart.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <set>
#include <utility>

#include "report/columns.h"
#include "report/format.h"
#include "report/table.h"

namespace forewarm::report {

namespace {

// Of text of 12 units in the widest of the page's fonts.
constexpr double kCharacter = 7.2;
constexpr double kTextRow = 16;

// A tenth of a unit is finer than anybody sees, and has the same digits on any machine.
std::string unit(double x) {
  std::string out = number(x, 1);
  if (out.ends_with(".0")) out.resize(out.size() - 2);
  return out;
}

double width_of(const std::string& text) { return kCharacter * double(columns_of(text)); }

// Escaped, and cut to so many units.
std::string fitted(const std::string& text, double room) {
  constexpr std::size_t kLeast = 4;
  const auto width = std::size_t(std::max(room, 0.0) / kCharacter);
  return escaped(cut_to(clean(text), std::max(width, kLeast)));
}

// ----------------------------------------------------------------------------------------- axes

double round_step(double least) {
  const double power = std::pow(10, std::floor(std::log10(least)));
  for (const double times : {1.0, 2.0, 5.0}) {
    if (times * power >= least * (1 - 1e-9)) return times * power;
  }
  return 10 * power;
}

double clock_step(double least_s) {
  constexpr std::array kSteps{60.0,   120.0,  300.0,   600.0,   900.0,   1800.0,
                              3600.0, 7200.0, 10800.0, 21600.0, 43200.0, 86400.0};
  if (least_s <= 10) return round_step(least_s);
  if (least_s <= 15) return 15;
  if (least_s <= 30) return 30;
  for (const double step : kSteps) {
    if (step >= least_s * (1 - 1e-9)) return step;
  }
  return kSteps.back() * round_step(least_s / kSteps.back());
}

double step_over(Scale scale, double span, std::size_t intervals) {
  const double least = span / double(intervals);
  switch (scale) {
    case Scale::count:
      return std::max(1.0, round_step(least));
    case Scale::duration:
      return clock_step(least);
    case Scale::plain:
      break;
  }
  return round_step(least);
}

// What a label of an axis in seconds is divided by, and the name of that.
std::pair<double, const char*> clock_unit(double step_s) {
  if (step_s >= 1800) return {3600, "h"};
  if (step_s >= 60) return {60, "min"};
  return {1, "s"};
}

std::string hours_and_minutes(double seconds) {
  const long minutes = std::lround(std::abs(seconds) / 60);
  return fmt::format("{}{}:{:02}", seconds < 0 ? "-" : "", minutes / 60, minutes % 60);
}

int decimals_of(double step) {
  int digits = 0;
  while (digits < 9 && std::abs(step - std::round(step)) > 1e-6 * step) {
    step *= 10;
    ++digits;
  }
  return digits;
}

}  // namespace

Axis axis_over(std::string words, double least, double most, Scale scale, std::string unit_words,
               std::size_t most_ticks) {
  // Further apart, neighbours could not be told from each other.
  const double narrowest = std::max({std::abs(least), std::abs(most), 1e-3}) * 1e-6;
  if (!(most - least > narrowest)) {
    const double half = scale == Scale::count ? 1 : std::max(std::abs(most) / 10, 0.5);
    if (least >= 0 && least - half < 0) {
      most = std::max(most, 2 * half);
      least = 0;
    } else {
      least -= half;
      most += half;
    }
  }
  std::size_t intervals = most_ticks - 1;
  double step = 0, first = 0, last = 0;
  for (;; --intervals) {
    step = step_over(scale, most - least, intervals);
    first = std::floor(least / step + 1e-9);
    last = std::ceil(most / step - 1e-9);
    if (last - first <= double(most_ticks - 1) || intervals == 1) break;
  }
  Axis out{std::move(words), std::move(unit_words), first * step, last * step, {}};
  double per = 1;
  bool hours = false;  // with minutes: nobody reads 585 min
  if (scale == Scale::duration) {
    constexpr double kMostMinutesS = 7200;
    const auto [divisor, name] = clock_unit(step);
    const double farthest_s = std::max(std::abs(out.from), std::abs(out.to));
    hours = divisor == 60 && farthest_s > kMostMinutesS;
    per = divisor;
    out.unit = hours ? "h:min" : name;
  }
  const int digits = decimals_of(step / per);
  for (double i = first; i <= last; ++i) {
    out.ticks.push_back(
        {i * step, hours ? hours_and_minutes(i * step) : number(i * step / per, digits)});
  }
  return out;
}

std::string title_of(const Axis& axis) {
  // A key of the rule file stays as it is.
  const bool key = axis.words.find('_') != std::string::npos;
  return (key ? axis.words : capitalised(axis.words)) + (axis.unit.empty() ? "" : ", " + axis.unit);
}

std::vector<Point> thinned(std::span<const Point> points, double from, double to,
                           std::size_t columns) {
  std::vector<Point> out;
  const double per = double(columns) / std::max(to - from, 1e-12);
  const auto column_of = [&](const Point& p) { return std::floor((p.x - from) * per); };
  const auto broken = [](const Point& p) { return !std::isfinite(p.x) || !std::isfinite(p.y); };
  for (std::size_t i = 0; i < points.size();) {
    if (broken(points[i])) {
      if (!out.empty() && !broken(out.back())) out.push_back(points[i]);
      ++i;
      continue;
    }
    std::size_t low = i, high = i, end = i + 1;
    while (end < points.size() && !broken(points[end]) &&
           column_of(points[end]) == column_of(points[i])) {
      if (points[end].y < points[low].y) low = end;
      if (points[end].y > points[high].y) high = end;
      ++end;
    }
    out.push_back(points[std::min(low, high)]);
    if (low != high) out.push_back(points[std::max(low, high)]);
    i = end;
  }
  return out;
}

// -------------------------------------------------------------------------------------- drawing

namespace {

class Svg {
 public:
  Svg(const Heading& heading, double width, double height) {
    add("<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart{4}\" viewBox=\"0 0 {0} {1}\" "
        "width=\"{0}\" height=\"{1}\" role=\"img\">\n<title>{2}</title>\n<desc>{3}</desc>\n",
        unit(width), unit(height), escaped(heading.title), escaped(heading.what),
        width > kChartWidth ? " broad" : "");
  }

  template <class... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }
  void line(const char* kind, double x1, double y1, double x2, double y2) {
    add("<line class=\"{}\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>\n", kind, unit(x1), unit(y1),
        unit(x2), unit(y2));
  }
  // `text` is escaped.
  void text(double x, double y, const std::string& text, const char* anchor = "start",
            const char* kind = "") {
    add("<text{} x=\"{}\" y=\"{}\"{}{}{}>{}</text>\n",
        *kind == 0 ? "" : fmt::format(" class=\"{}\"", kind), unit(x), unit(y),
        *anchor == 's' ? "" : " text-anchor=\"", *anchor == 's' ? "" : anchor,
        *anchor == 's' ? "" : "\"", text);
  }
  std::string done() {
    out_ += "</svg>\n";
    return std::move(out_);
  }

 private:
  std::string out_;
};

const char* class_of(Bar::Fill fill) {
  switch (fill) {
    case Bar::Fill::solid:
      return "bar";
    case Bar::Fill::light:
      return "bar light";
    case Bar::Fill::outline:
      break;
  }
  return "bar outline";
}

// A label at x that stays within the drawing.
const char* anchor_at(double x, const std::string& label, double width) {
  const double half = width_of(label) / 2;
  if (x + half > width) return "end";
  return x - half < 0 ? "start" : "middle";
}

}  // namespace

std::string bars_svg(const Heading& heading, const Axis& axis, std::span<const Bar> bars,
                     const std::string& bound_words) {
  constexpr double kSide = 14, kTop = 4, kBar = 11, kRow = 34, kFoot = 38;
  const double right = kChartWidth - kSide;
  const double bottom = kTop + kRow * double(bars.size()) + 2;
  const auto x = [&](double value) {
    const double share = (value - axis.from) / (axis.to - axis.from);
    return kSide + (right - kSide) * std::clamp(share, 0.0, 1.0);
  };
  Svg svg(heading, kChartWidth, bottom + kFoot);
  for (const Tick& tick : axis.ticks) {
    svg.line("grid", x(tick.at), kTop, x(tick.at), bottom + 4);
    svg.text(x(tick.at), bottom + 16, escaped(tick.label),
             anchor_at(x(tick.at), tick.label, kChartWidth), "axis");
  }
  svg.line("base", kSide, kTop, kSide, bottom + 4);
  double top = kTop;
  for (const Bar& bar : bars) {
    const double room = right - kSide - width_of(bar.text) - 2 * kCharacter;
    const char* kind = bar.fill == Bar::Fill::solid ? "strong" : "";
    // On its ground, lest a line of the grid runs through it.
    svg.add("<rect class=\"ground\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>\n", unit(kSide),
            unit(top + 1), unit(right - kSide), unit(kTextRow - 1));
    svg.text(kSide, top + 13, fitted(bar.label, room), "start", kind);
    svg.text(right, top + 13, escaped(bar.text), "end", kind);
    if (std::isfinite(bar.value) && bar.value > 0) {
      const double width = x(bar.value) - x(axis.from);
      svg.add("<rect class=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>\n",
              class_of(bar.fill), unit(kSide), unit(top + kTextRow + 2), unit(std::max(width, 1.0)),
              unit(kBar));
    }
    if (bar.bound && std::isfinite(*bar.bound)) {
      svg.line("bound", x(*bar.bound), top + kTextRow - 1, x(*bar.bound),
               top + kTextRow + kBar + 5);
    }
    top += kRow;
  }
  svg.text(right, bottom + 32, escaped(title_of(axis)), "end", "axis");
  if (!bound_words.empty()) {
    svg.line("bound", kSide, bottom + 20, kSide, bottom + 36);
    const double room = right - kSide - width_of(title_of(axis)) - 2 * kCharacter;
    svg.text(kSide + 8, bottom + 32, fitted(bound_words, room), "start", "mark");
  }
  return svg.done();
}

namespace {

constexpr std::array<const char*, 7> kLookClasses{"line",    "line dashed", "line dotted", "dots",
                                                  "crosses", "shapes",      "shapes"};

class Plot {
 public:
  explicit Plot(const Chart& chart) : c_(chart) {
    for (const Tick& tick : c_.y.ticks) left_ = std::max(left_, width_of(tick.label) + 12);
    top_ = c_.moments.empty() ? 24 : 40;
    place_key();
    bottom_ = c_.height - 40 - kTextRow * double(key_rows_);
    right_ = c_.width - 14;
  }

  Drawn run() {
    Svg svg(c_.heading, c_.width, c_.height);
    axes(svg);
    for (const Series& s : c_.series) draw(svg, s);
    marks(svg);
    key(svg);
    return {svg.done(), thinned_};
  }

 private:
  [[nodiscard]] double x(double value) const {
    const double share = (value - c_.x.from) / (c_.x.to - c_.x.from);
    return left_ + (right_ - left_) * std::clamp(share, 0.0, 1.0);
  }
  [[nodiscard]] double y(double value) const {
    const double share = (value - c_.y.from) / (c_.y.to - c_.y.from);
    return bottom_ - (bottom_ - top_) * std::clamp(share, 0.0, 1.0);
  }

  void axes(Svg& svg) const {
    svg.text(2, 13, fitted(title_of(c_.y), c_.width - 4), "start", "axis");
    for (const Tick& tick : c_.y.ticks) {
      const bool zero = c_.zero && tick.at == 0;
      svg.line(zero ? "base" : "grid", left_, y(tick.at), right_, y(tick.at));
      svg.text(left_ - 6, y(tick.at) + 4, escaped(tick.label), "end", "axis");
    }
    for (const Tick& tick : c_.x.ticks) {
      svg.line("grid", x(tick.at), top_, x(tick.at), bottom_ + 4);
      svg.text(x(tick.at), bottom_ + 17, escaped(tick.label),
               anchor_at(x(tick.at), tick.label, c_.width), "axis");
    }
    svg.line("base", left_, bottom_, right_, bottom_);
    svg.line("base", left_, top_, left_, bottom_);
    svg.text(right_, bottom_ + 33, fitted(title_of(c_.x), c_.width - 4), "end", "axis");
  }

  [[nodiscard]] std::string path_of_line(std::span<const Point> points) {
    const auto columns = std::size_t(right_ - left_);
    const std::vector<Point> few = thinned(points, c_.x.from, c_.x.to, columns);
    const auto finite = [](const Point& p) { return std::isfinite(p.x) && std::isfinite(p.y); };
    thinned_ = thinned_ || std::count_if(few.begin(), few.end(), finite) <
                               std::count_if(points.begin(), points.end(), finite);
    std::string out;
    bool pen_down = false;
    for (std::size_t i = 0; i < few.size(); ++i) {
      if (!finite(few[i])) {
        pen_down = false;
        continue;
      }
      const bool alone = !pen_down && (i + 1 == few.size() || !finite(few[i + 1]));
      out += fmt::format("{}{} {}{}", pen_down ? 'L' : 'M', unit(x(few[i].x)), unit(y(few[i].y)),
                         alone ? "h1" : "");
      pen_down = true;
    }
    return out;
  }

  static std::string shape_at(Series::Look look, double x, double y) {
    const std::string px = unit(x), py = unit(y);
    switch (look) {
      case Series::Look::crosses:
        return fmt::format("M{} {}m-2.5-2.5l5 5m0-5l-5 5", px, py);
      case Series::Look::diamonds:
        return fmt::format("M{} {}m-3.5 0l3.5-3.5l3.5 3.5l-3.5 3.5z", px, py);
      case Series::Look::triangles:
        return fmt::format("M{} {}m-3.5 2.5l3.5-6l3.5 6z", px, py);
      default:
        return fmt::format("M{} {}h0", px, py);
    }
  }

  [[nodiscard]] std::string path_of_points(const Series& series) {
    constexpr double kCell = 3;
    const auto columns = std::size_t(right_ - left_);
    // What is highest and lowest must be there, whatever it falls on.
    const std::vector<Point> ends = thinned(series.points, c_.x.from, c_.x.to, columns);
    std::set<std::pair<long, long>> taken;
    std::string out;
    std::size_t drawn = 0, count = 0;
    const auto draw = [&](const Point& p, bool always) {
      if (!std::isfinite(p.x) || !std::isfinite(p.y)) return;
      const double px = x(p.x), py = y(p.y);
      const double cell = always ? 0.1 : kCell;
      const bool first = taken.emplace(std::lround(px / cell), std::lround(py / cell)).second;
      if (!first) return;
      if (always) taken.emplace(std::lround(px / kCell), std::lround(py / kCell));
      out += shape_at(series.look, px, py);
      ++drawn;
    };
    if (ends.size() < series.points.size()) {
      for (const Point& p : ends) draw(p, true);
    }
    for (const Point& p : series.points) {
      count += std::isfinite(p.x) && std::isfinite(p.y) ? 1U : 0U;
      draw(p, false);
    }
    thinned_ = thinned_ || drawn < count;
    return out;
  }

  void draw(Svg& svg, const Series& s) {
    const std::string path = is_line(s.look) ? path_of_line(s.points) : path_of_points(s);
    if (path.empty()) return;
    svg.add("<path class=\"{} tone-{}\" d=\"{}\"/>\n", kLookClasses[std::size_t(s.look)],
            s.tone % kTones, path);
  }

  void marks(Svg& svg) const {
    for (const Mark& m : c_.moments) {
      svg.line("moment", x(m.at), top_ - 3, x(m.at), bottom_);
      const bool at_end = x(m.at) > (left_ + right_) / 2;
      svg.text(x(m.at) + (at_end ? 4 : -4), top_ - 5, fitted(m.label, (right_ - left_) / 2),
               at_end ? "end" : "start", "mark");
    }
    // In the row of the axis's title, where nothing else is.
    const double room = c_.width - width_of(title_of(c_.y)) - 4 * kCharacter;
    for (const Mark& m : c_.levels) {
      svg.line("bound", left_, y(m.at), right_, y(m.at));
      svg.text(right_, 13, fitted(m.label, room), "end", "mark");
    }
  }

  // ------------------------------------------------------------------------------------- the key

  // Where each series stands in it: a sample, then the name.
  void place_key() {
    constexpr double kSample = 26, kBetween = 14;
    double at = 2;
    std::size_t row = 0;
    for (const Series& s : c_.series) {
      if (s.name.empty() || s.points.empty()) {
        places_.emplace_back(-1.0, 0U);
        continue;
      }
      const double needs = std::min(kSample + width_of(s.name) + kBetween, c_.width);
      if (at > 2 && at + needs - kBetween > c_.width) {
        at = 2;
        ++row;
      }
      places_.emplace_back(at, row);
      at += needs;
      key_rows_ = row + 1;
    }
  }

  void key(Svg& svg) const {
    for (std::size_t i = 0; i < c_.series.size(); ++i) {
      const Series& s = c_.series[i];
      const auto [at, row] = places_[i];
      if (at < 0) continue;
      const double middle = c_.height - kTextRow * double(key_rows_ - row) + 8;
      const std::string sample = is_line(s.look) ? fmt::format("M{} {}h20", unit(at), unit(middle))
                                                 : shape_at(s.look, at + 10, middle);
      svg.add("<path class=\"{} tone-{}\" d=\"{}\"/>\n", kLookClasses[std::size_t(s.look)],
              s.tone % kTones, sample);
      svg.text(at + 26, middle + 4, fitted(s.name, c_.width - 28));
    }
  }

  const Chart& c_;
  double left_ = 24, top_ = 24, right_ = 0, bottom_ = 0;
  std::vector<std::pair<double, std::size_t>> places_;
  std::size_t key_rows_ = 0;
  bool thinned_ = false;
};

}  // namespace

Drawn chart_svg(const Chart& chart) { return Plot(chart).run(); }

}  // namespace forewarm::report
