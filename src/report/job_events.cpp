#include "report/job_events.h"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "report/figures.h"
#include "report/spools.h"

namespace forewarm::report {

namespace {

class Events {
 public:
  explicit Events(const Summary& summary)
      : s_(summary), a_(attention(s_.job, s_.lookahead, s_.rules, s_.schedule)) {}

  // All that a job's calendar holds.
  EventCalendar run() {
    const std::size_t slash = s_.path.find_last_of('/');
    out_.name = slash == std::string::npos ? s_.path : s_.path.substr(slash + 1);
    out_.stamp = start();
    add_first_exchanges_away();
    add_spools();
    add_pauses();
    add_end();
    return std::move(out_);
  }

 private:
  [[nodiscard]] LocalTime start() const { return s_.schedule->start; }
  [[nodiscard]] LocalTime at(double wall_s) const { return later(start(), wall_s); }

  void add(std::string id, LocalTime from, LocalTime to, const std::string& title,
           std::string text) {
    constexpr std::size_t kLongestName = 255;
    out_.events.push_back(
        {std::move(id), from, to, clean(out_.name, kLongestName) + ": " + title, std::move(text)});
  }

  // With odds of stops, from when it is done with a chance of 10 % to when with 90 %.
  void add_end() {
    const LocalTime end = at(s_.lookahead.figures.duration_s);
    std::string text = fmt::format("The job begins at {} and is done at {}, if nothing stops it.",
                                   spaced_minute(start()), spaced_minute(end));
    if (!s_.finish) return add("end", end, end, "done", std::move(text));
    const Finish& f = s_.finish->given;
    for (const std::string& words : finish_words(s_)) text += '\n' + capitalised(words) + '.';
    add("end", at(f.p10_s), at(f.p90_s), "done", std::move(text));
  }

  void add_pauses() {
    for (std::size_t i = 0; i < s_.job.pauses.size(); ++i) {
      const job::Pause& p = s_.job.pauses[i];
      const LocalTime time = at(s_.lookahead.pause_at_s[i]);
      add(fmt::format("pause-{}", i + 1), time, time, "it pauses until somebody lets it go on",
          fmt::format("In layer {}, line {}: {}", p.layer, p.line, clean(p.text)));
    }
  }

  // When the hours away begin that cover the time; no earlier than the job.
  [[nodiscard]] LocalTime away_since(LocalTime time) const {
    LocalTime since = time;
    since.s -= since.s % 60;  // hours away begin with a minute
    while (since.s > start().s && away_at(*s_.schedule, {since.s - 60})) since.s -= 60;
    return since;
  }

  void add_first_exchanges_away() {
    struct Period {
      LocalTime since;
      std::size_t first = 0;  // change
      std::uint64_t exchanges = 0;
    };
    std::vector<Period> periods;
    for (std::size_t i = 0; i < a_.changes.size(); ++i) {
      if (!a_.changes[i].exchanges) continue;
      const LocalTime time = at(a_.changes[i].at_s);
      if (!away_at(*s_.schedule, time)) continue;
      const LocalTime since = away_since(time);
      if (periods.empty() || !(periods.back().since == since)) periods.push_back({since, i, 0});
      ++periods.back().exchanges;
    }
    for (std::size_t p = 0; p < periods.size(); ++p) {
      const job::ToolChange& change = s_.job.tool_changes[periods[p].first];
      const double at_s = a_.changes[periods[p].first].at_s;
      const double takes_s = change.park_s + change.pick_s + change.exchange_s;
      add(fmt::format("away-{}", p + 1), at(at_s), at(at_s + takes_s),
          "first exchange while nobody is there",
          fmt::format(
              "{} takes {} out and {} in, in layer {}, line {}.\nNobody is there from {} on: {}.",
              head_name(s_, change.head), filament(change.out_tool), filament(change.tool),
              change.layer, change.line, spaced_minute(periods[p].since),
              counted(periods[p].exchanges, "exchange", "exchanges")));
    }
  }

  void add_spools() {
    for (const Load& load : loads(s_)) {
      if (!load.runs_out) continue;
      const RunsOut& r = *load.runs_out;
      add(fmt::format("spool-T{}", load.tool), at(r.at_s), at(r.at_s),
          "the spool of " + filament(load.tool) + " runs out",
          fmt::format("In layer {}, line {}: {} g are needed, {} g of the spool count.", r.layer,
                      r.line, number(load.needed_g, 1), number(load.usable_g, 1)));
    }
  }

  [[nodiscard]] std::string filament(int tool) const {
    if (tool < 0) return "what it holds";
    const std::string& name = s_.rules.filament(tool).name;
    const std::string number = fmt::format("T{}", tool);
    return name.empty() || name == number ? number : number + " (" + name + ")";
  }

  const Summary& s_;
  const Attention a_;
  EventCalendar out_;
};

}  // namespace

EventCalendar job_events(const Summary& summary) { return Events(summary).run(); }

std::string calendar_of(const Summary& summary, std::string_view earlier) {
  const EventCalendar calendar = job_events(summary);
  return icalendar(calendar, next_sequence(calendar, earlier));
}

}  // namespace forewarm::report
