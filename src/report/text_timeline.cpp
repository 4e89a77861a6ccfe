#include "report/text_timeline.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "report/attention.h"
#include "report/columns.h"
#include "report/figures.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kMostName = 16;  // columns
constexpr std::size_t kMostLetters = 26;
constexpr char kFurther = '&';  // a filament that has no letter of its own
constexpr char kWaits = '!';
constexpr std::string_view kWaitingRow = "waiting";

struct Look {
  const char* words;
  char character;
  const char* colour;  // as SGR has it (ECMA-48, 8.3.117)
};
// As Picture::Kind has them, all filaments as one, and waiting.
constexpr std::array<Look, 6> kLooks{{{"off", '.', ""},
                                      {"standby", '-', "2"},
                                      {"hold", '=', "33"},
                                      {"heating", '/', "31"},
                                      {"printing", 'A', ""},
                                      {"waited for", kWaits, "1;35"}}};
constexpr std::size_t kWaiting = 5;
constexpr std::array<const char*, 6> kFilamentColours{"36", "32", "34", "96", "92", "94"};

char letter(std::size_t filament) {
  return filament < kMostLetters ? char('A' + filament) : kFurther;
}

// A line of characters, each with its colour.
class Line {
 public:
  explicit Line(bool colour) : coloured_(colour) {}
  void add(std::string_view text, const char* colour = "") {
    if (coloured_ && colour_ != colour) {
      if (!colour_.empty()) out_ += "\x1b[0m";
      colour_ = colour;
      if (!colour_.empty()) out_ += "\x1b[" + colour_ + 'm';
    }
    out_ += text;
  }
  [[nodiscard]] std::string end() {
    add("");
    out_.resize(out_.find_last_not_of(' ') + 1);
    return std::move(out_) + '\n';
  }

 private:
  bool coloured_;
  std::string out_, colour_;
};

// What a column of a row holds, in seconds.
class Shares {
 public:
  Shares(std::size_t columns, std::size_t filaments)
      : filaments_(filaments), doing_(columns), used_(columns * filaments) {}

  void add(std::size_t column, std::size_t what, double seconds) {
    doing_[column][std::min<std::size_t>(what, Picture::kUse)] += seconds;
    if (what >= Picture::kUse && what - Picture::kUse < filaments_) {
      used_[column * filaments_ + what - Picture::kUse] += seconds;
    }
  }
  void wait(std::size_t column, double seconds) { doing_[column][kWaiting] += seconds; }
  [[nodiscard]] double waited(std::size_t column) const { return doing_[column][kWaiting]; }

  void show(std::size_t column, Line& line) const {
    const auto& doing = doing_[column];
    // Of equal shares, the one with more heat.
    const auto most = std::max_element(doing.rbegin(), doing.rend());
    if (*most <= 0) return line.add(" ");
    const auto what = std::size_t(doing.rend() - most) - 1;
    if (what == kWaiting || doing[Picture::kUse] <= 0) {
      return line.add(std::string_view(&kLooks[what].character, 1), kLooks[what].colour);
    }
    const auto first = used_.begin() + std::ptrdiff_t(column * filaments_);
    const auto filament =
        std::size_t(std::max_element(first, first + std::ptrdiff_t(filaments_)) - first);
    const char capital = letter(filament);
    const bool small = what != Picture::kUse && capital != kFurther;
    const char shown = small ? char(capital - 'A' + 'a') : capital;
    line.add(std::string_view(&shown, 1), kFilamentColours[filament % kFilamentColours.size()]);
  }

 private:
  std::size_t filaments_;
  std::vector<std::array<double, kLooks.size()>> doing_;  // by column
  std::vector<double> used_;                              // by column and filament
};

class Writer {
 public:
  explicit Writer(const TextTimeline& timeline) : t_(timeline) {
    for (const TextTimeline::Row& row : t_.rows) {
      name_width_ = std::max(name_width_, columns_of(cut_to(row.name, kMostName)));
    }
    columns_ = t_.width - name_width_ - 1;
    column_s_ = t_.end_s / double(columns_);
  }

  std::string run() {
    head();
    std::vector<double> waited(columns_);
    for (const TextTimeline::Row& row : t_.rows) {
      const Shares shares = shares_of(row);
      Line line = begun(cut_to(row.name, kMostName));
      for (std::size_t c = 0; c < columns_; ++c) {
        shares.show(c, line);
        waited[c] += shares.waited(c);
      }
      out_ += line.end();
    }
    const bool waits = *std::max_element(waited.begin(), waited.end()) > 0;
    if (waits) waiting(waited);
    axis();
    legend(waits);
    return std::move(out_);
  }

 private:
  [[nodiscard]] Line begun(const std::string& name) const {
    Line out(t_.colour);
    out.add(name + std::string(name_width_ + 1 - columns_of(name), ' '));
    return out;
  }

  void head() {
    const std::string when =
        t_.start ? fmt::format("timeline, {} to {}", spaced_minute(*t_.start),
                               spaced_minute(later(*t_.start, t_.end_s)))
                 : std::string(step_s() < 60 ? "timeline, h:mm:ss" : "timeline, h:mm");
    out_ += wrapped(fmt::format("{}: a column is {}", when, duration(column_s_)), 0, t_.width);
  }

  // Tells of each column that the span is in, and for how long.
  template <class Tell>
  void over_columns(double from_s, double to_s, const Tell& tell) const {
    from_s = std::max(from_s, 0.0);
    to_s = std::min(to_s, t_.end_s);
    for (std::size_t c = column_of(from_s); c < columns_ && double(c) * column_s_ < to_s; ++c) {
      const double part_s =
          std::min(to_s, double(c + 1) * column_s_) - std::max(from_s, double(c) * column_s_);
      if (part_s > 0) tell(c, part_s);
    }
  }
  [[nodiscard]] std::size_t column_of(double time_s) const {
    return std::size_t(std::min(time_s / column_s_, double(columns_)));
  }

  // Where the machine waits for a toolhead, that is what the toolhead does.
  [[nodiscard]] Shares shares_of(const TextTimeline::Row& row) const {
    Shares out(columns_, std::max<std::size_t>(t_.filaments.size(), 1));
    for (const TextTimeline::Span& wait : row.waits) {
      over_columns(wait.from_s, wait.to_s,
                   [&](std::size_t c, double seconds) { out.wait(c, seconds); });
    }
    auto wait = row.waits.begin();
    for (const Picture::Stretch& stretch : row.stretches) {
      const auto add = [&](double from_s, double to_s) {
        if (!(to_s > from_s)) return;
        over_columns(from_s, to_s, [&](std::size_t c, double seconds) {
          out.add(c, std::size_t(stretch.kind), seconds);
        });
      };
      while (wait != row.waits.end() && wait->to_s <= stretch.from_s) ++wait;
      double now_s = stretch.from_s;
      for (auto w = wait; w != row.waits.end() && w->from_s < stretch.to_s; ++w) {
        add(now_s, w->from_s);
        now_s = std::max(now_s, w->to_s);
      }
      add(now_s, stretch.to_s);
    }
    return out;
  }

  void waiting(const std::vector<double>& waited) {
    Line line = begun(std::string(kWaitingRow.substr(0, name_width_)));
    for (const double seconds : waited) {
      // What is a tenth but for rounding is one.
      const double tenths = std::ceil(10 * seconds / column_s_ - 1e-6);
      const char shown = seconds <= 0 ? ' '
                         : tenths > 9 ? kWaits
                                      : char('0' + std::max(1, int(tenths)));
      line.add(std::string_view(&shown, 1), shown == ' ' ? "" : kLooks[kWaiting].colour);
    }
    out_ += line.end();
  }

  // Between two ticks there is room for a label.
  [[nodiscard]] std::int64_t step_s() const {
    // A clock time has seconds where the step does.
    const auto room = [this](std::int64_t step) { return t_.start && step < 60 ? 10.0 : 9.0; };
    constexpr std::array<std::int64_t, 16> kSteps{
        1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1'800, 3'600, 7'200, 10'800, 21'600};
    for (const std::int64_t step : kSteps) {
      if (double(step) >= room(step) * column_s_) return step;
    }
    std::int64_t step = kDayS / 2;
    while (double(step) < room(step) * column_s_) step *= 2;
    return step;
  }

  // "18:00", and the date at midnight; or "2:30", from the start of the job.
  [[nodiscard]] std::string label(std::int64_t at_s, std::int64_t step) const {
    if (!t_.start) {
      const std::string whole = clock(double(at_s));
      return step < 60 ? whole : whole.substr(0, whole.size() - 3);
    }
    const std::string whole = date_time({t_.start->s + at_s});  // "2027-03-05T18:04:09"
    if (step < 60) return whole.substr(11);
    const bool midnight = whole.substr(11, 5) == "00:00";
    return midnight ? whole.substr(5, 5) : whole.substr(11, 5);
  }

  void axis() {
    const std::int64_t step = step_s();
    // Clock times are round, not those since the start.
    const std::int64_t after = t_.start ? t_.start->s % step : 0;
    std::string ticks(columns_, ' ');
    for (std::int64_t at = after == 0 ? 0 : step - after; double(at) < t_.end_s; at += step) {
      const std::size_t column = column_of(double(at) + 1e-6);
      if (column >= columns_) break;
      const std::string words = label(at, step);
      ticks[column] = '|';
      if (column + 1 + words.size() <= columns_) ticks.replace(column + 1, words.size(), words);
    }
    Line line = begun("");
    line.add(ticks);
    out_ += line.end();
  }

  void legend(bool waits) {
    // A character stays on the line of its meaning.
    constexpr char kKept = '\x01';
    std::string words;
    for (std::size_t f = 0; f < std::min(t_.filaments.size(), kMostLetters); ++f) {
      words += fmt::format("{}{}{}, ", letter(f), kKept, cut_to(t_.filaments[f], t_.width - 5));
    }
    if (t_.filaments.size() > kMostLetters)
      words += fmt::format("{}{}any other, ", kFurther, kKept);
    for (std::size_t i = 0; i < kLooks.size(); ++i) {
      if (i == Picture::kUse || (i == kWaiting && !waits)) continue;
      words +=
          fmt::format("{}{}{}{}", i == 0 ? "" : ", ", kLooks[i].character, kKept, kLooks[i].words);
    }
    words = wrapped(words, 2, t_.width);
    std::replace(words.begin(), words.end(), kKept, ' ');
    out_ += words;
    std::string rule =
        "A column shows what most of it is; where a toolhead prints for less than that, the "
        "filament in a small letter.";
    if (waits) {
      rule +=
          " Waiting has a line of its own as well, so that none is lost: tenths of a column, "
          "rounded up, and ! for more than nine.";
    }
    out_ += wrapped(rule, 2, t_.width);
  }

  const TextTimeline& t_;
  std::size_t name_width_ = kWaitingRow.size();
  std::size_t columns_ = 0;
  double column_s_ = 0;
  std::string out_;
};

}  // namespace

std::string text_of(const TextTimeline& timeline) {
  if (timeline.rows.empty() || !(timeline.end_s > 0)) return {};
  return Writer(timeline).run();
}

TextTimeline text_timeline(const Summary& s, const Picture& picture) {
  constexpr std::size_t kMostFilament = 40;
  TextTimeline out;
  out.end_s = s.lookahead.figures.duration_s;
  out.width = s.width;
  // The number of its tool is never cut: "  A name (T65535),".
  const std::size_t most = std::min(kMostFilament, out.width - 14);
  out.colour = s.colour;
  if (s.schedule) out.start = s.schedule->start;
  for (const Picture::Filament& f : picture.filaments) {
    const std::string number = fmt::format("T{}", f.tool);
    out.filaments.push_back(f.name.empty() ? number : cut_to(f.name, most) + " (" + number + ")");
  }
  for (std::size_t h = 0; h < picture.planned.rows.size(); ++h) {
    out.rows.push_back({picture.heads[h].name, picture.planned.rows[h].stretches, {}});
  }
  for (const plan::Trace::Stop& stop : picture.planned.stops) {
    if (stop.kind != plan::Trace::Stop::Kind::wait || stop.head >= out.rows.size()) continue;
    out.rows[stop.head].waits.push_back({stop.from_s, stop.to_s});
  }
  return out;
}

}  // namespace forewarm::report
