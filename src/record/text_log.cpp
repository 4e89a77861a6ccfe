// A host's text log: temperature reports, echoes, and what [[observe]] knows; each at the time that
// its line has by [record] time, or by the built-in ways. Of the ways to find a time, the first
// that ever fits is the one for the whole log.
//
// A host logs what it sends, too: `M118 forewarm 3 leave` is not what the machine said, and a line
// with a G or M code before the echo is left out.
#include <re2/re2.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <memory>

#include "record/emitter.h"
#include "record/lines.h"
#include "record/literal.h"
#include "record/temperature_report.h"
#include "rules/limits.h"
#include "rules/patterns.h"

namespace forewarm::record {

namespace {

std::optional<std::uint64_t> take_index(std::string_view& text) {
  std::uint64_t value = 0;
  std::size_t i = 0;
  for (; i < text.size() && text[i] >= '0' && text[i] <= '9' && i < 18; ++i) {
    value = value * 10 + std::uint64_t(text[i] - '0');
  }
  if (i == 0) return std::nullopt;
  text.remove_prefix(i);
  return value;
}

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Whether some word of it is a G or M code.
bool has_command(std::string_view text) {
  for (std::size_t i = 0; i + 1 < text.size(); ++i) {
    const char c = text[i];
    if ((c == 'M' || c == 'G') && is_digit(text[i + 1]) &&
        (i == 0 || !(is_letter(text[i - 1]) || is_digit(text[i - 1])))) {
      return true;
    }
  }
  return false;
}

std::optional<Said> said(std::string_view number, std::string_view what) {
  const auto n = take_index(number);
  const auto w = what_of(what);
  if (!n || !number.empty() || !w) return std::nullopt;
  return Said{*n, *w};
}

// One pattern with named groups, over bytes.
class Pattern {
 public:
  explicit Pattern(const std::string& text)
      : re_(rules::compile(text, true)), finder_(needed_literal(text)) {
    if (re_->ok()) captured_.resize(std::size_t(re_->NumberOfCapturingGroups()) + 1);
  }

  // Whether the line fits; group() speaks of it then.
  bool fits(const Line& line, const Lines& lines) {
    if (finder_.in(line, lines) == std::string_view::npos) return false;
    return re_->ok() && re_->Match(rules::piece(line.text), 0, line.text.size(), RE2::UNANCHORED,
                                   captured_.data(), int(captured_.size()));
  }
  [[nodiscard]] int number_of(const char* name) const { return rules::group_of(*re_, name); }
  // Empty where the group is not there, or took no part.
  [[nodiscard]] std::string_view group(int number) const {
    if (number == 0) return {};
    const re2::StringPiece& c = captured_[std::size_t(number)];
    return c.data() == nullptr ? std::string_view() : std::string_view(c.data(), c.size());
  }

 private:
  std::unique_ptr<RE2> re_;
  Finder finder_;
  std::vector<re2::StringPiece> captured_;
};

struct Observation {
  Pattern pattern;
  rules::Observe::As as;
  int heater, tool, temp, target, drive, percent, number, what;

  explicit Observation(const rules::Observe& o)
      : pattern(o.match),
        as(o.as),
        heater(pattern.number_of("heater")),
        tool(pattern.number_of("tool")),
        temp(pattern.number_of("temp")),
        target(pattern.number_of("target")),
        drive(pattern.number_of("drive")),
        percent(pattern.number_of("drive_percent")),
        number(pattern.number_of("number")),
        what(pattern.number_of("what")) {}
};

struct TimePattern {
  Pattern pattern;
  int group;
  TimeKind kind;

  explicit TimePattern(const std::string& text) : pattern(text), group(0), kind(TimeKind::seconds) {
    for (const auto& [name, of_it] :
         {std::pair{"seconds", TimeKind::seconds}, std::pair{"clock", TimeKind::clock},
          std::pair{"stamp", TimeKind::stamp}}) {
      if (const int number = pattern.number_of(name)) {
        group = number;
        kind = of_it;
      }
    }
  }
};

// The tool of a line that a host sent: `> T3`, maybe numbered, with a checksum or a comment.
// Whatever else a host puts before what it sends is for [[observe]].
std::optional<int> selected_in(std::string_view line) {
  if (line.find('T') == std::string_view::npos) return std::nullopt;
  while (!line.empty() && (line.back() == ' ' || line.back() == '\t')) line.remove_suffix(1);
  const std::size_t comment = line.find(';');
  if (comment != std::string_view::npos) return selected_in(line.substr(0, comment));
  const std::size_t sum = line.rfind('*');
  if (sum != std::string_view::npos) return selected_in(line.substr(0, sum));
  std::size_t at = line.size();
  while (at > 0 && is_digit(line[at - 1])) --at;
  if (at == line.size() || at == 0 || line[at - 1] != 'T') return std::nullopt;
  std::string_view number = line.substr(at);
  std::string_view before = line.substr(0, at - 1);
  const auto tool = take_index(number);
  if (!tool || *tool > rules::kMaxIndex || before.empty() || before.back() != ' ') {
    return std::nullopt;
  }
  const auto strip = [&before] {
    while (!before.empty() && before.back() == ' ') before.remove_suffix(1);
  };
  strip();
  // N12
  std::size_t digits = before.size();
  while (digits > 0 && is_digit(before[digits - 1])) --digits;
  if (digits < before.size() && digits > 0 && before[digits - 1] == 'N') {
    before.remove_suffix(before.size() - digits + 1);
    strip();
  }
  return before.ends_with('>') ? std::optional(int(*tool)) : std::nullopt;
}

class TextLogReader {
 public:
  TextLogReader(Lines& lines, const rules::Rules& rules, const ReadOptions& options, Emitter& into)
      : lines_(lines), rules_(rules), options_(options), into_(into) {
    for (const rules::Observe& o : rules.observe) {
      observations_.emplace_back(o);
      own_echo_ = own_echo_ && o.as != rules::Observe::As::echo;
    }
    for (const std::string& text : rules.record.time) times_.emplace_back(text);
  }

  Status read() {
    Line line;
    std::uint64_t fills = 0;
    for (;;) {
      auto more = lines_.next(line);
      if (!more) return std::move(more.error());
      if (!*more) return success();
      ++into_.summary().lines;
      if (fills != lines_.fills()) {
        fills = lines_.fills();
        if (options_.progress) options_.progress(lines_.offset());
      }
      if (nul_.in(line, lines_) != std::string_view::npos) {
        ++into_.summary().damaged;
      } else if (!line.ended) {
        into_.summary().cut_off = true;
      } else {
        read_line(line);
      }
    }
  }

 private:
  void read_line(const Line& line) {
    timed_ = Timed::not_asked;
    // Nothing in a line says two things, but for heaters in a report.
    for (Observation& o : observations_) {
      if (o.pattern.fits(line, lines_)) return observed(o, line);
    }
    if (own_echo_) {
      const std::size_t at = echo_.in(line, lines_);
      if (at != std::string_view::npos) {
        const bool sent = has_command(line.text.substr(0, at));
        const auto s = sent ? std::nullopt : said_in(line.text.substr(at));
        if (s) return echoed(*s, line);
      }
    }
    if (read_report(line.text, report_)) return reported(line);
    if (const auto tool = selected_in(line.text); tool && at_time(line)) {
      into_.select(*tool, line.number);
    }
  }

  void reported(const Line& line) {
    bool any = false, fresh = false;
    for (std::size_t i = 0; i < report_.count; ++i) {
      const HotendReport& r = report_.list[i];
      if (report_.numbered && r.heater < 0) continue;  // one of the others, again
      std::optional<std::size_t> heater;
      if (r.heater >= 0) {
        heater = into_.heater_number(r.heater);
      } else if (into_.has_one_heater()) {
        heater = into_.only_heater();
      }
      if (!heater) {
        ++into_.summary().unassigned;
        continue;
      }
      if (!at_time(line)) return;
      std::optional<double> drive;
      if (r.duty) drive = std::clamp(*r.duty / rules_.record.full_duty, 0.0, 1.0);
      any = true;
      fresh = into_.sample(*heater, r.temp_c, r.target_c, drive, line.number) || fresh;
    }
    if (any && !fresh) ++into_.summary().repeated;
  }

  void echoed(const Said& s, const Line& line) {
    if (at_time(line) && !into_.echo(s.number, s.what, line.number)) ++into_.summary().repeated;
  }

  void observed(Observation& o, const Line& line) {
    switch (o.as) {
      case rules::Observe::As::stop:
      case rules::Observe::As::go_on:
        if (at_time(line) && !into_.stop(o.as == rules::Observe::As::go_on, line.number)) {
          ++into_.summary().repeated;
        }
        return;
      case rules::Observe::As::echo:
        if (const auto s = said(o.pattern.group(o.number), o.pattern.group(o.what))) {
          echoed(*s, line);
        } else {
          ++into_.summary().missing;
        }
        return;
      case rules::Observe::As::select:
        if (const auto tool = tool_of(o)) {
          if (at_time(line)) into_.select(*tool, line.number);
        } else {
          ++into_.summary().missing;
        }
        return;
      case rules::Observe::As::temperature:
        return temperature(o, line);
    }
  }

  static std::optional<int> tool_of(const Observation& o) {
    std::string_view text = o.pattern.group(o.tool);
    const auto tool = take_index(text);
    if (!tool || !text.empty() || *tool > rules::kMaxIndex) return std::nullopt;
    return int(*tool);
  }

  void temperature(Observation& o, const Line& line) {
    const auto number = [&](int group) -> std::optional<double> {
      std::string_view text = o.pattern.group(group);
      const auto value = take_number(text);
      return text.empty() ? value : std::nullopt;
    };
    const auto temp = number(o.temp), target = number(o.target);
    auto drive = number(o.drive);
    if (const auto percent = number(o.percent)) drive = *percent / 100;
    if (drive) drive = std::clamp(*drive, 0.0, 1.0);
    std::optional<std::size_t> heater;
    if (o.heater != 0) {
      const std::string_view name = o.pattern.group(o.heater);
      if (!name.empty()) heater = into_.heater_named(name);
    } else if (const auto tool = tool_of(o)) {
      heater = into_.heater_of_tool(*tool);
    }
    if (!temp) {
      ++into_.summary().missing;
    } else if (!heater) {
      ++into_.summary().unassigned;
    } else if (at_time(line) && !into_.sample(*heater, *temp, target, drive, line.number)) {
      ++into_.summary().repeated;
    }
  }

  // Whether the line has a time; the emitter is told, once a line.
  bool at_time(const Line& line) {
    if (timed_ == Timed::not_asked) {
      timed_ = find_time(line) ? Timed::yes : Timed::no;
      if (timed_ == Timed::no) ++into_.summary().untimed;
    }
    return timed_ == Timed::yes;
  }

  bool find_time(const Line& line) {
    if (times_.empty()) {
      const auto leading = leading_time(line.text);
      if (!leading || (kind_ && *kind_ != leading->kind)) return false;
      kind_ = leading->kind;
      into_.time(leading->time_s, leading->kind, line.number);
      return true;
    }
    for (TimePattern& t : times_) {
      if (fixed_ != nullptr && fixed_ != &t) continue;
      if (!t.pattern.fits(line, lines_)) continue;
      const auto time = time_of(t.pattern.group(t.group), t.kind);
      if (!time) continue;
      fixed_ = &t;
      into_.time(*time, t.kind, line.number);
      return true;
    }
    return false;
  }

  enum class Timed { not_asked, yes, no };

  Lines& lines_;
  const rules::Rules& rules_;
  const ReadOptions& options_;
  Emitter& into_;
  std::vector<Observation> observations_;
  std::vector<TimePattern> times_;
  TimePattern* fixed_ = nullptr;
  std::optional<TimeKind> kind_;
  Finder echo_{std::string(kEchoStart)};
  Finder nul_{std::string(1, '\0')};
  TemperatureReport report_;
  bool own_echo_ = true;
  Timed timed_ = Timed::not_asked;
};

}  // namespace

Status read_text_log(Lines& lines, const rules::Rules& rules, const ReadOptions& options,
                     Emitter& into) {
  return TextLogReader(lines, rules, options, into).read();
}

}  // namespace forewarm::record
