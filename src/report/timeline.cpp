#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <map>
#include <string>
#include <vector>

#include "report/columns.h"
#include "report/figures.h"
#include "report/page.h"

namespace forewarm::report {

namespace {

// Units of the drawing, which is about as wide as the page, so that a unit is about a pixel.
constexpr double kLeft = 120, kWide = 1000, kRight = 16;
constexpr double kDay = 68;  // as wide as the date of a day
constexpr std::size_t kColumns = std::size_t(kWide);
constexpr double kTop = 34, kStrip = 22, kTicks = 16, kPlot = 46, kRow = 112;
constexpr double kPower = 40, kLayers = 16, kAxis = 30, kBetween = 14;

constexpr std::array<const char*, Picture::kUse> kStates{"off", "standby", "hold", "heating"};
constexpr std::array<double, Picture::kUse> kHeights{3, 9, 15, kStrip};  // the hotter, the higher

// A tenth of a unit is finer than anybody sees, and has the same digits on any machine.
std::string unit(double x) {
  std::string out = number(x, 1);
  if (out.ends_with(".0")) out.resize(out.size() - 2);
  return out;
}

// "M10 20h5v-3h-5z", a rectangle that stands on y.
std::string box(double x, double y, double width, double height) {
  return fmt::format("M{} {}h{}v-{}h-{}z", unit(x), unit(y), unit(width), unit(height),
                     unit(width));
}

class Drawing {
 public:
  Drawing(const Summary& summary, const Picture& picture) : s_(summary), p_(picture) {
    end_s_ = summary.lookahead.figures.duration_s;
    if (!std::isfinite(end_s_)) end_s_ = 0;
    bottom_ = kTop + kRow * double(p_.heads.size());
    if (has_power()) bottom_ += kPower + kBetween;
    if (!p_.layers_s.empty()) bottom_ += kLayers + kBetween;
  }

  std::string run() {
    if (p_.heads.empty() || end_s_ <= 0) return {};
    add("<div class=\"scroll\" tabindex=\"0\"><svg xmlns=\"http://www.w3.org/2000/svg\" "
        "viewBox=\"0 0 {} {}\" "
        "role=\"img\" aria-label=\"What each toolhead does when, with lookahead\">\n",
        unit(kLeft + kWide + kRight), unit(bottom_ + kAxis));
    hatches();
    axis();
    for (std::size_t h = 0; h < p_.heads.size(); ++h) row(h);
    double top = kTop + kRow * double(p_.heads.size());
    if (has_power()) {
      power(top);
      top += kPower + kBetween;
    }
    if (!p_.layers_s.empty()) layers(top);
    out_ += "</svg></div>\n";
    legend();
    return std::move(out_);
  }

 private:
  template <class... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }

  [[nodiscard]] double x(double time_s) const {
    return kLeft + kWide * std::clamp(time_s / end_s_, 0.0, 1.0);
  }
  [[nodiscard]] bool has_power() const {
    return std::any_of(p_.planned.power.begin(), p_.planned.power.end(),
                       [](const Picture::Step& s) { return s.watts > 0; });
  }

  // Each look of a filament: its colour, and lines or dots over it.
  void hatches() {
    static constexpr std::array<const char*, Picture::kLooks> kLines{
        "",
        "M-2 6L6 -2M2 10L10 2",
        "M-2 2L6 10M2 -2L10 6",
        "M2.5 4h3",
        "M0 4h8",
        "M4 0v8",
        "M0 4h8M4 0v8",
        "M-2 6L6 -2M2 10L10 2M-2 2L6 10M2 -2L10 6"};
    out_ += "<defs>\n";
    for (std::size_t look = 0; look < kLines.size(); ++look) {
      if (std::none_of(p_.filaments.begin(), p_.filaments.end(),
                       [look](const Picture::Filament& f) { return f.look == look; })) {
        continue;
      }
      add("<pattern id=\"look-{0}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">"
          "<path class=\"filament-{0}\" d=\"M0 0h8v8h-8z\"/><path class=\"hatch\" d=\"{1}\"/>"
          "</pattern>\n",
          look, kLines[look]);
    }
    out_ += "</defs>\n";
  }

  // Lines at round hours, minutes or seconds, no more than a dozen of them; with a start, at round
  // clock times, and the hours away behind.
  void axis() {
    constexpr double kMinuteS = 60, kHourS = 3600;
    double step_s = 24 * kHourS;
    while (end_s_ / step_s > 12) step_s *= 2;
    for (const double finer_s :
         {12 * kHourS, 6 * kHourS, 4 * kHourS, 2 * kHourS, kHourS, 30 * kMinuteS, 15 * kMinuteS,
          5 * kMinuteS, 2 * kMinuteS, kMinuteS, 30.0, 10.0, 5.0, 2.0, 1.0}) {
      if (end_s_ / finer_s > 12) break;
      step_s = finer_s;
    }
    if (s_.schedule) return clock_axis(std::max(kMinuteS, step_s));
    const auto [unit_s, words] = step_s >= 30 * kMinuteS ? std::pair{kHourS, "h"}
                                 : step_s >= kMinuteS    ? std::pair{kMinuteS, "min"}
                                                         : std::pair{1.0, "s"};
    for (int i = 0; i * step_s <= end_s_; ++i) {
      tick(x(i * step_s), fmt::format("{:g} {}", i * step_s / unit_s, words));
    }
  }

  void tick(double at, const std::string& text) {
    add("<line x1=\"{0}\" y1=\"{1}\" x2=\"{0}\" y2=\"{2}\"/><text class=\"axis\" x=\"{0}\" "
        "y=\"{3}\" text-anchor=\"middle\">{4}</text>\n",
        unit(at), unit(kTop - 8), unit(bottom_), unit(bottom_ + 18), escaped(text));
  }

  void clock_axis(double step_s) {
    const LocalTime start = s_.schedule->start;
    std::string shade;
    constexpr double kMinuteS = 60;
    double from_s = -1;
    for (double t = -std::fmod(double(start.s), kMinuteS); t <= end_s_ + kMinuteS; t += kMinuteS) {
      const bool away = t <= end_s_ && away_at(*s_.schedule, later(start, t));
      if (away && from_s < 0) from_s = std::max(t, 0.0);
      if (away || from_s < 0) continue;
      const double width = x(t) - x(from_s);
      if (width > 0) shade += box(x(from_s), bottom_, width, bottom_ - kTop + 8);
      from_s = -1;
    }
    if (!shade.empty()) add("<path class=\"away\" d=\"{}\"/>\n", shade);
    std::string day;
    double free_from = 0;
    const double first = std::ceil(double(start.s) / step_s) * step_s - double(start.s);
    for (double t = first; t <= end_s_; t += step_s) {
      const std::string text = spaced_minute(later(start, t));  // "2026-05-02 00:00"
      const std::size_t space = text.rfind(' ');
      tick(x(t), text.substr(space + 1));
      if (text.substr(0, space) == day || x(t) < free_from) continue;
      day = text.substr(0, space);
      // The last day may begin close to the edge.
      const double at = std::min(x(t), kLeft + kWide - kDay);
      if (at < free_from) continue;
      add("<text class=\"axis\" x=\"{}\" y=\"12\">{}</text>\n", unit(at), escaped(day));
      free_from = at + kDay + 12;
    }
  }

  void name(double y, std::string text) {
    // Somewhat long names are squeezed. Longer ones would not be legible: they lose their middle,
    // as names often differ at the end.
    constexpr std::size_t kFits = 13, kLegible = 18;
    if (columns_of(text) > kLegible) {
      text = fmt::format("{}…{}", first_columns(text, kLegible / 2 - 1),
                         last_columns(text, kLegible / 2));
    }
    const std::string squeezed =
        columns_of(text) > kFits
            ? fmt::format(" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\"", unit(kLeft - 16))
            : "";
    add("<text class=\"name\" x=\"{}\" y=\"{}\" text-anchor=\"end\"{}>{}</text>\n", unit(kLeft - 8),
        unit(y), squeezed, escaped(text));
  }

  void row(std::size_t head) {
    const double top = kTop + kRow * double(head);
    const double foot = top + kStrip;
    name(top + 16, clean(p_.heads[head].name, 64));
    strip(p_.planned.rows[head].stretches, foot);
    stops(head, top, foot);
    ticks(head, foot + 2);
    plot(head, foot + kTicks);
  }

  // What is at least two units wide is drawn as itself, letters and all; what is narrower is put
  // together by column, each kind as high as its share of the time.
  void strip(const std::vector<Picture::Stretch>& stretches, double foot) {
    std::map<int, std::string> paths;
    std::string letters;
    std::map<std::size_t, std::map<int, double>> columns;
    for (const Picture::Stretch& s : stretches) {
      const double from = x(s.from_s), to = x(s.to_s);
      if (to - from >= 2) {
        whole(s.kind, from, to, foot, paths[s.kind], letters);
        continue;
      }
      for (auto c = std::size_t(from - kLeft); c < kColumns && kLeft + double(c) < to; ++c) {
        columns[c][s.kind] +=
            std::min(to, kLeft + double(c) + 1) - std::max(from, kLeft + double(c));
      }
    }
    for (const auto& [column, shares] : columns) {
      double y = foot;
      for (auto share = shares.rbegin(); share != shares.rend(); ++share) {
        const double height = std::min(share->second, 1.0) * kStrip;
        if (height < 0.05) continue;
        paths[share->first] += box(kLeft + double(column), y, 1, height);
        y -= height;
      }
    }
    for (const auto& [kind, path] : paths) {
      if (kind < Picture::kUse) {
        add("<path class=\"{}\" d=\"{}\"/>\n", kStates[std::size_t(kind)], path);
      } else {
        add("<path fill=\"url(#look-{})\" d=\"{}\"/>\n", filament(kind).look, path);
      }
    }
    out_ += letters;
  }

  [[nodiscard]] const Picture::Filament& filament(int kind) const {
    return p_.filaments[std::min(std::size_t(kind - Picture::kUse), p_.filaments.size() - 1)];
  }

  void whole(int kind, double from, double to, double foot, std::string& path,
             std::string& letters) const {
    if (kind == Picture::kHeating) {
      // A ramp, as the heater gets warmer.
      path +=
          fmt::format("M{} {}H{}V{}z", unit(from), unit(foot), unit(to), unit(foot - kStrip + 2));
      return;
    }
    path += box(from, foot, to - from, kind < Picture::kUse ? kHeights[std::size_t(kind)] : kStrip);
    if (kind < Picture::kUse) return;
    const std::string& letter = filament(kind).letter;
    const auto letters_wide = double(letter.size());
    if (to - from < 9 + 7 * letters_wide) return;
    const double middle = (from + to) / 2;
    letters += fmt::format(
        "<path class=\"plate\" d=\"{}\"/><text class=\"letter\" x=\"{}\" y=\"{}\" "
        "text-anchor=\"middle\">{}</text>\n",
        box(middle - 3.5 - 3.5 * letters_wide, foot - 3, 7 + 7 * letters_wide, 16), unit(middle),
        unit(foot - 6.5), letter);
  }

  void stops(std::size_t head, double top, double foot) {
    std::string waits, sequences;
    double free_from = 0;
    for (const plan::Trace::Stop& stop : p_.planned.stops) {
      if (stop.head != head) continue;
      const double from = x(stop.from_s), width = x(stop.to_s) - from;
      if (stop.kind == plan::Trace::Stop::Kind::wait) {
        if (from + std::max(width, 2.0) < free_from) continue;  // under the one before
        waits += box(from, top - 2, std::max(width, 2.0), 4);
        free_from = from + std::max(width, 2.0);
      } else if (stop.kind == plan::Trace::Stop::Kind::sequence && width >= 3) {
        sequences += box(from, foot + 13, width, 6);
      }
    }
    if (!waits.empty()) add("<path class=\"wait\" d=\"{}\"/>\n", waits);
    if (!sequences.empty()) add("<path class=\"sequence\" d=\"{}\"/>\n", sequences);
  }

  // An exchange is a diamond, another toolhead a line; where they come too close, the height of a
  // column says how many.
  void ticks(std::size_t head, double top) {
    struct Near {
      std::size_t changes = 0, exchanges = 0;
      double at = 0;
    };
    constexpr double kApart = 7;
    std::map<std::size_t, Near> columns;
    const auto& changes = s_.job.tool_changes;
    for (std::size_t i = 0; i < changes.size(); ++i) {
      if (changes[i].head != head || changes[i].kind == job::ChangeKind::redundant) continue;
      const double at = x(s_.lookahead.change_at_s[i]);
      Near& near = columns[std::size_t((at - kLeft) / kApart)];
      ++near.changes;
      near.exchanges += changes[i].exchanges() ? 1 : 0;
      near.at = at;
    }
    std::string marks, many;
    for (const auto& [column, near] : columns) {
      const double left = kLeft + double(column) * kApart + 1;
      if (near.changes > 1) {
        const auto height = [](std::size_t n) { return double(std::min<std::size_t>(n, 12)); };
        many += box(left, top + 12, 5, height(near.changes));
        if (near.exchanges > 0) marks += box(left, top + 12, 5, height(near.exchanges));
      } else if (near.exchanges > 0) {
        marks += fmt::format("M{} {}l4 5l-4 5l-4 -5z", unit(near.at), unit(top + 2));
      } else {
        many += box(near.at - 0.7, top + 12, 1.4, 10);
      }
    }
    if (!many.empty()) add("<path class=\"change\" d=\"{}\"/>\n", many);
    if (!marks.empty()) add("<path class=\"exchange\" d=\"{}\"/>\n", marks);
  }

  void plot(std::size_t head, double top) {
    const Picture::Head& h = p_.heads[head];
    const auto y = [&](double temp_c) {
      return top + kPlot * (1 - std::clamp(temp_c / h.scale_c, 0.0, 1.0));
    };
    add("<path class=\"frame\" d=\"{}\"/>\n", box(kLeft, top + kPlot, kWide, kPlot));
    double last = -1e9;
    for (const auto& [levels, words] :
         {std::pair{h.work_c, "working"}, std::pair{h.standby_c, "standby"}}) {
      if (!levels) continue;
      const auto& [low, high] = *levels;
      std::string lines, range = number(high, 0);
      if (number(low, 0) != range) {
        range = number(low, 0) + "–" + range;
        lines = fmt::format("M{} {}h{}", unit(kLeft), unit(y(low)), unit(kWide));
      }
      lines += fmt::format("M{} {}h{}", unit(kLeft), unit(y(high)), unit(kWide));
      const double at = std::max(y((low + high) / 2), last + 12);
      add("<path class=\"level\" d=\"{}\"/><text class=\"axis\" x=\"{}\" y=\"{}\" "
          "text-anchor=\"end\">{} {} °C</text>\n",
          lines, unit(kLeft - 6), unit(at + 4), words, range);
      last = at;
    }
    std::string path;
    std::vector<std::pair<double, double>> column;  // its points
    const auto flush = [&] {
      if (column.empty()) return;
      const auto by_height = [](const auto& a, const auto& b) { return a.second < b.second; };
      std::vector<std::pair<double, double>> kept{column.front(), column.back()};
      const auto [low, high] = std::minmax_element(column.begin(), column.end(), by_height);
      if (column.size() > 2)
        kept.insert(kept.begin() + 1, {*std::min(low, high), *std::max(low, high)});
      for (const auto& [px, py] : kept) {
        path += fmt::format("{}{} {}", path.empty() ? 'M' : 'L', unit(px), unit(py));
      }
      column.clear();
    };
    double until = kLeft;
    for (const plan::Trace::Point& p : p_.planned.rows[head].temperature) {
      if (x(p.at_s) >= until) {
        flush();
        until = std::floor(x(p.at_s)) + 1;
      }
      column.emplace_back(x(p.at_s), y(p.temp_c));
    }
    flush();
    add("<path class=\"temperature\" d=\"{}\"/>\n", path);
  }

  // The most in each column.
  void power(double top) {
    double most = p_.limit_w.value_or(0);
    for (const Picture::Step& s : p_.planned.power) most = std::max(most, s.watts);
    const double high = most * 1.1, foot = top + kPower;
    std::vector<double> columns(kColumns, 0.0);
    const auto& steps = p_.planned.power;
    for (std::size_t i = 0; i < steps.size(); ++i) {
      const double to_s = i + 1 < steps.size() ? steps[i + 1].at_s : end_s_;
      if (!(steps[i].watts > 0) || !(to_s > steps[i].at_s)) continue;
      const auto last = std::size_t(std::ceil(x(to_s) - kLeft));
      for (auto c = std::size_t(x(steps[i].at_s) - kLeft); c < std::min(last, kColumns); ++c) {
        columns[c] = std::max(columns[c], steps[i].watts);
      }
    }
    std::string path;
    for (std::size_t c = 0; c < kColumns;) {
      std::size_t end = c + 1;
      while (end < kColumns && columns[end] == columns[c]) ++end;
      if (columns[c] > 0) {
        path += box(kLeft + double(c), foot, double(end - c), columns[c] / high * kPower);
      }
      c = end;
    }
    name(top + 14, "heating power");
    add("<path class=\"frame\" d=\"{}\"/>\n", box(kLeft, foot, kWide, kPower));
    if (!path.empty()) add("<path class=\"power\" d=\"{}\"/>\n", path);
    const double level = foot - most / high * kPower;
    add("<text class=\"axis\" x=\"{}\" y=\"{}\" text-anchor=\"end\">{}{} W</text>\n",
        unit(kLeft - 6), unit(top + 30), p_.limit_w ? "limit " : "most ",
        number(p_.limit_w.value_or(most), 0));
    if (p_.limit_w) {
      add("<path class=\"limit\" d=\"M{} {}h{}\"/>\n", unit(kLeft),
          unit(foot - *p_.limit_w / high * kPower), unit(kWide));
    } else {
      add("<path class=\"level\" d=\"M{} {}h{}\"/>\n", unit(kLeft), unit(level), unit(kWide));
    }
  }

  // Every second of as many layers as can be told apart is dark.
  void layers(double top) {
    const auto& all = p_.layers_s;
    std::size_t stride = 1;  // 2, 5, 10, 20, 50 ...
    for (int i = 0; double(all.size()) / double(stride) > kWide / 4; ++i) {
      stride = i % 3 == 1 ? stride / 2 * 5 : stride * 2;
    }
    std::string path;
    for (std::size_t i = 0; i < all.size(); i += 2 * stride) {
      const double to_s = i + stride < all.size() ? all[i + stride] : end_s_;
      const double width = x(to_s) - x(all[i]);
      if (width > 0) path += box(x(all[i]), top + kLayers, width, kLayers);
    }
    name(top + 12, stride == 1 ? "layers" : fmt::format("every {} layers", stride));
    add("<path class=\"frame\" d=\"{}\"/>\n", box(kLeft, top + kLayers, kWide, kLayers));
    if (!path.empty()) add("<path class=\"layer\" d=\"{}\"/>\n", path);
  }

  void key(const std::string& shape, const std::string& meaning) {
    add("<li><svg viewBox=\"0 0 24 26\" aria-hidden=\"true\">{}</svg>{}</li>\n", shape, meaning);
  }

  void legend() {
    out_ += "<ul class=\"legend\">\n";
    const double foot = kStrip + 2;
    for (const Picture::Filament& f : p_.filaments) {
      const std::string called = tool_name(f.tool, f.name);
      key(fmt::format("<path fill=\"url(#look-{})\" d=\"{}\"/>", f.look, box(0, foot, 24, kStrip)),
          fmt::format("<b>{}</b> {}", f.letter, escaped(called)));
    }
    static constexpr std::array<const char*, Picture::kUse> kMeanings{
        "off", "standby: parked, cooler", "hold: parked, at working temperature",
        "heating: at full power"};
    for (std::size_t k = 0; k < kStates.size(); ++k) {
      key(fmt::format("<path class=\"{}\" d=\"{}\"/>", kStates[k],
                      k == Picture::kHeating ? "M0 24H24V4z" : box(0, foot, 24, kHeights[k])),
          kMeanings[k]);
    }
    key("<path class=\"wait\" d=\"M0 15h24v-4h-24z\"/>", "wait: the machine stands still");
    key("<path class=\"exchange\" d=\"M12 8l4 5l-4 5l-4 -5z\"/>", "exchange of filament");
    key("<path class=\"change\" d=\"M11.3 18h1.4v-10h-1.4z\"/>", "change of toolhead");
    key("<path class=\"sequence\" d=\"M2 16h20v-6h-20z\"/>", "step sequence");
    if (s_.schedule && !s_.schedule->away.empty()) {
      key("<path class=\"away\" d=\"M0 24h24v-20h-24z\"/>", "away");
    }
    out_ +=
        "</ul>\n<p class=\"note\">Waits included. What is narrower than two points of the picture "
        "is shown by its share of the time, changes closer than seven by their number. The start "
        "code is left as it is.</p>\n";
  }

  const Summary& s_;
  const Picture& p_;
  double end_s_ = 0, bottom_ = 0;
  std::string out_;
};

}  // namespace

std::string timeline(const Summary& summary, const Picture& picture) {
  return Drawing(summary, picture).run();
}

}  // namespace forewarm::report
