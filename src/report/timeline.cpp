#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <optional>
#include <vector>

#include "report/figures.h"
#include "report/page.h"

namespace forewarm::report {

namespace {

// Units of the drawing, which is about as wide as the page, so that a unit is about a pixel.
constexpr double kLeft = 120, kWide = 1000, kRight = 16;
constexpr double kTop = 10, kRow = 40, kBar = 22, kAxis = 28;
constexpr double kStrip = 4;  // of waits, above the bars

enum Kind : std::size_t { use, hold, standby, off, preheat, kKinds };
constexpr std::array<const char*, kKinds> kNames{"use", "hold", "standby", "off", "preheat"};
// The hotter the heater, the higher the bar.
constexpr std::array<double, kKinds> kHeights{kBar, 15, 9, 3, kBar};

struct Span {
  double from_s = 0, to_s = 0;
  Kind kind = use;
  const plan::GapPlan* gap = nullptr;  // of all but a use
  std::size_t use_at = job::kNone;     // the first of a use
};

// A tenth of a unit is finer than anybody sees, and has the same digits on any machine.
std::string unit(double x) {
  std::string out = number(x, 1);
  if (out.ends_with(".0")) out.resize(out.size() - 2);
  return out;
}

class Timeline {
 public:
  explicit Timeline(const Summary& summary)
      : s_(summary), end_s_(summary.lookahead.figures.duration_s) {
    // The first gap after the start code knows its wall time, which includes the start code's
    // waits.
    const job::Place start = s_.job.start.value_or(job::Place{});
    start_s_ = start.time_s;
    for (const plan::GapPlan& gap : s_.lookahead.gaps) {
      if (gap.before && !over_by(*gap.before, start.offset)) continue;
      start_s_ = gap.from_s;
      break;
    }
    // The axis must be long enough for every bar.
    for (const plan::GapPlan& gap : s_.lookahead.gaps) end_s_ = std::max(end_s_, gap.to_s);
    if (!std::isfinite(end_s_)) end_s_ = 0;
  }

  std::string run() {
    const std::size_t heads = s_.lookahead.heads.size();
    if (heads == 0 || end_s_ <= 0) return {};
    const double height = kTop + kRow * double(heads) + kAxis;
    out_ += "<section>\n<h2>Timeline</h2>\n<div class=\"scroll\">";
    add("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" "
        "aria-label=\"What each toolhead does when, with lookahead\">\n",
        unit(kLeft + kWide + kRight), unit(height));
    grid(height);
    std::vector<std::vector<const plan::GapPlan*>> gaps(heads);
    for (const plan::GapPlan& gap : s_.lookahead.gaps) {
      if (gap.head < heads) gaps[gap.head].push_back(&gap);
    }
    for (std::size_t h = 0; h < heads; ++h) row(h, gaps[h]);
    out_ += "</svg></div>\n";
    legend();
    out_ += "</section>\n";
    return std::move(out_);
  }

 private:
  template <class... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }

  [[nodiscard]] bool over_by(std::size_t use_at, std::uint64_t offset) const {
    return use_at < s_.job.uses.size() && s_.job.uses[use_at].last_end <= offset;
  }

  [[nodiscard]] double x(double time_s) const {
    return kLeft + kWide * std::clamp(time_s / end_s_, 0.0, 1.0);
  }

  // A line at round hours, no more than a dozen of them.
  void grid(double height) {
    double step_h = 24;
    while (end_s_ / 3600 / step_h > 12) step_h *= 2;
    for (const double finer : {12.0, 6.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.1, 0.05, 0.02, 0.01}) {
      if (end_s_ / 3600 / finer > 12) break;
      step_h = finer;
    }
    for (int i = 0; i * step_h * 3600 <= end_s_; ++i) {
      const std::string at = unit(x(i * step_h * 3600));
      add("<line x1=\"{0}\" y1=\"{1}\" x2=\"{0}\" y2=\"{2}\"/>"
          "<text class=\"axis\" x=\"{0}\" y=\"{3}\" text-anchor=\"middle\">{4} h</text>\n",
          at, unit(kTop), unit(height - kAxis + 4), unit(height - 8),
          fmt::format("{:g}", i * step_h));
    }
  }

  std::vector<Span> spans_of(std::size_t head,
                             const std::vector<const plan::GapPlan*>& gaps) const {
    std::vector<Span> out;
    if (s_.lookahead.heads[head].uses == 0 && gaps.empty()) return out;
    double now_s = start_s_;
    const std::uint64_t start = s_.job.start ? s_.job.start->offset : 0;
    std::size_t next = 0;  // the first of the use that comes next
    while (next < s_.job.uses.size() && (s_.job.uses[next].head != head || over_by(next, start))) {
      ++next;
    }
    const auto until = [&](double to_s, Kind kind, const plan::GapPlan* gap) {
      if (to_s > now_s) out.push_back({now_s, to_s, kind, gap, next});
      now_s = std::max(now_s, to_s);
    };
    for (const plan::GapPlan* gap : gaps) {
      until(gap->from_s, use, nullptr);
      const Kind kind = gap->treatment == plan::Treatment::hold      ? hold
                        : gap->treatment == plan::Treatment::standby ? standby
                                                                     : off;
      if (gap->preheat_at_s) {
        until(std::min(*gap->preheat_at_s, gap->to_s), kind, gap);
        until(gap->to_s, preheat, gap);
      } else {
        until(gap->to_s, kind, gap);
      }
      next = gap->after.value_or(job::kNone);
    }
    if (gaps.empty() || gaps.back()->after) until(end_s_, use, nullptr);
    return out;
  }

  std::string tools_of(const Span& span) const {
    std::vector<int> tools;
    const auto& uses = s_.job.uses;
    for (std::size_t i = span.use_at; i < uses.size(); ++i) {
      if (uses[i].head != uses[span.use_at].head) break;
      if (std::find(tools.begin(), tools.end(), uses[i].tool) == tools.end()) {
        tools.push_back(uses[i].tool);
      }
    }
    std::string out;
    for (const int tool : tools) {
      out += out.empty() ? ": " : ", ";
      out += fmt::format("T{} {}", tool, s_.rules.filament(tool).name);
    }
    return out;
  }

  std::string said(const Span& span) const {
    const std::string when = clock(span.from_s) + " to " + clock(span.to_s);
    if (span.kind == use || span.gap == nullptr) return "use " + when + tools_of(span);
    std::string out = fmt::format("{} {}, dip {} °C, hot idle {}", kNames[span.kind], when,
                                  number(span.gap->dip_c, 0), duration(span.gap->hot_idle_s));
    if (!span.gap->reason.empty()) out += "; " + span.gap->reason;
    return out;
  }

  void bar(Kind kind, double from_s, double to_s, const std::string& title) {
    const double left = x(from_s);
    const double width = std::max(x(to_s) - left, 0.6);
    if (kind == preheat) {
      // A ramp, as the heater gets warmer.
      add("<path class=\"preheat\" d=\"M{} {}H{}V{}z\">", unit(left), unit(kBar),
          unit(left + width), "0");
      add("<title>{}</title></path>\n", escaped(title));
      return;
    }
    add("<rect class=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" "
        "height=\"{}\"><title>{}</title></rect>\n",
        kNames[kind], unit(left), unit(kBar - kHeights[kind]), unit(width), unit(kHeights[kind]),
        escaped(title));
  }

  // Spans that are too narrow to see become one bar, of the kind that most of their time is.
  void bars(const std::vector<Span>& spans) {
    std::array<double, kKinds> share{};
    std::size_t first = 0;
    const auto flush = [&](std::size_t end) {
      if (first == end) return;
      if (end - first == 1) {
        bar(spans[first].kind, spans[first].from_s, spans[first].to_s, said(spans[first]));
      } else {
        const auto most = std::max_element(share.begin(), share.end()) - share.begin();
        bar(Kind(most), spans[first].from_s, spans[end - 1].to_s,
            fmt::format("{} uses and parts of gaps, {} to {}, mostly {}", end - first,
                        clock(spans[first].from_s), clock(spans[end - 1].to_s),
                        kNames[std::size_t(most)]));
      }
      share = {};
      first = end;
    };
    for (std::size_t i = 0; i < spans.size(); ++i) {
      if (x(spans[i].to_s) - x(spans[i].from_s) >= 1) {
        flush(i);
        first = i;
        flush(i + 1);
        continue;
      }
      share[spans[i].kind] += spans[i].to_s - spans[i].from_s;
      if (x(spans[i].to_s) - x(spans[first].from_s) >= 1) flush(i + 1);
    }
    flush(spans.size());
  }

  void waits(const std::vector<const plan::GapPlan*>& gaps) {
    struct Strip {
      double left = 0, right = 0;
      double from_s = 0, to_s = 0, wait_s = 0;
      std::size_t count = 0;
    };
    std::optional<Strip> strip;
    const auto flush = [&] {
      if (!strip) return;
      const std::string title =
          strip->count == 1
              ? fmt::format("wait of {} at {}", duration(strip->wait_s), clock(strip->from_s))
              : fmt::format("{} waits of {} together, {} to {}", strip->count,
                            duration(strip->wait_s), clock(strip->from_s), clock(strip->to_s));
      add("<rect class=\"wait\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"><title>{}</title>"
          "</rect>\n",
          unit(strip->left), unit(-kStrip - 2), unit(strip->right - strip->left), unit(kStrip),
          title);
      strip.reset();
    };
    for (const plan::GapPlan* gap : gaps) {
      if (gap->wait_s < kSomeWaitS) continue;
      const double left = x(gap->to_s);
      const double right = std::max(x(gap->to_s + gap->wait_s), left + 2);
      if (strip && left > strip->right + 1) flush();
      if (!strip) strip = Strip{left, right, gap->to_s, gap->to_s, 0, 0};
      strip->right = std::max(strip->right, right);
      strip->to_s = gap->to_s;
      strip->wait_s += gap->wait_s;
      ++strip->count;
    }
    flush();
  }

  void row(std::size_t head, const std::vector<const plan::GapPlan*>& gaps) {
    const std::string name = clean(head_name(s_, head), 64);
    add("<g transform=\"translate(0 {})\">\n", unit(kTop + kRow * double(head) + 10));
    // Long names are squeezed, not cut.
    const bool squeezed = name.size() > 17;
    add("<text x=\"{}\" y=\"{}\" text-anchor=\"end\"{}>{}</text>\n", unit(kLeft - 8),
        unit(kBar - 6),
        squeezed
            ? fmt::format(" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\"", unit(kLeft - 16))
            : "",
        escaped(name));
    bars(spans_of(head, gaps));
    waits(gaps);
    out_ += "</g>\n";
  }

  void key(Kind kind, const char* meaning) {
    add("<li><svg viewBox=\"0 0 24 26\" aria-hidden=\"true\">");
    if (kind == preheat) {
      add("<path class=\"preheat\" d=\"M0 {}H24V2z\"/>", unit(kBar + 2));
    } else {
      add("<rect class=\"{}\" x=\"0\" y=\"{}\" width=\"24\" height=\"{}\"/>", kNames[kind],
          unit(kBar + 2 - kHeights[kind]), unit(kHeights[kind]));
    }
    add("</svg>{}</li>\n", meaning);
  }

  void legend() {
    out_ += "<ul class=\"legend\">\n";
    key(use, "use");
    key(hold, "hold: parked, at working temperature");
    key(standby, "standby: parked, cooler");
    key(off, "off");
    key(preheat, "preheat: on its way to working temperature");
    add("<li><svg viewBox=\"0 0 24 26\" aria-hidden=\"true\"><rect class=\"wait\" x=\"0\" y=\"11\" "
        "width=\"24\" height=\"{}\"/></svg>wait: the machine stands still</li>\n",
        unit(kStrip));
    out_ +=
        "</ul>\n<p class=\"note\">Waits included. The start code, left as it is, has no "
        "bars.</p>\n";
  }

  const Summary& s_;
  double start_s_ = 0, end_s_ = 0;
  std::string out_;
};

}  // namespace

std::string timeline(const Summary& summary) { return Timeline(summary).run(); }

}  // namespace forewarm::report
