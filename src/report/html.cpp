#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <iterator>
#include <span>
#include <string>
#include <vector>

#include "report/figures.h"
#include "report/findings.h"
#include "report/forecast_tables.h"
#include "report/page.h"
#include "report/page_data.h"
#include "report/page_frame.h"
#include "report/page_sections.h"
#include "report/page_start.h"
#include "report/picture.h"
#include "report/report.h"
#include "report/stops.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kRowsStill = 200;  // of a table where no script runs, and in print

class Page {
 public:
  Page(const Summary& summary, const Picture& picture) : s_(summary), p_(picture) {}

  std::string run() {
    const std::string path = escaped(s_.path);
    // The script begins with the picture: without one, it would find nothing to draw in.
    const std::string still = timeline(s_, p_);
    out_ = page_begun(s_.path, still.empty() ? PageScript::none : PageScript::picture);
    header(path);
    lookahead_section();
    picture_section(still);
    out_ += start_section(s_);
    out_ += check_section(s_);
    out_ += policy_section(s_);
    const Table power = power_table(s_);
    if (!power.rows.empty()) section(power);
    section(toolhead_table(s_));
    out_ += time_section(s_);
    out_ += filament_section(s_);
    out_ += kind_section(s_);
    attention_section();
    stop_section();
    gap_section();
    change_section(false);
    change_section(true);
    out_ += still.empty() ? page_ended() : page_ended(page_data(s_, p_));
    return std::move(out_);
  }

 private:
  template <class... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }

  void header(const std::string& path) {
    const job::Job& job = s_.job;
    add("<header>\n<h1>{}</h1>\n<p>on {}: {}, {}, {}; {} moving</p>\n"
        "<p>Changes: {}</p>\n<p>Rules: {}</p>\n</header>\n",
        path, escaped(s_.rules.machine.name), counted(job.layers, "layer", "layers"),
        counted(job.lines, "line", "lines"), size(job.bytes), duration(job.motion_s),
        changes_in_words(job), escaped(rules_words(s_.rules)));
    if (s_.checked != nullptr && !s_.checked->findings.list().empty()) {
      add("<p class=\"caution\"><strong>Do not print it.</strong> The rewritten job has {}, which "
          "the section Check lists.</p>\n",
          found_count(*s_.checked));
    }
    const std::string breaks_off = job.ending.warning();
    if (!breaks_off.empty()) {
      add("<p class=\"caution\"><strong>Warning.</strong> The job: {}</p>\n", escaped(breaks_off));
    }
    add("<p class=\"caution\"><strong>Caution.</strong> {}</p>\n", escaped(kCautions));
  }

  // A figure with its name above and a remark below.
  struct Tile {
    std::string name, figure, more;
  };
  void add_tiles(const std::vector<Tile>& tiles) {
    out_ += "<div class=\"tiles\">\n";
    for (const Tile& tile : tiles) {
      add("<dl><dt>{}</dt><dd>{}</dd><dd class=\"was\">{}</dd></dl>\n", escaped(tile.name),
          escaped(tile.figure), escaped(tile.more));
    }
    out_ += "</div>\n";
  }

  void section(const Table& table) {
    add("<section>\n<h2>{}</h2>\n{}</section>\n", escaped(table.title), html_of(table));
  }

  void lookahead_section() {
    std::vector<Tile> tiles;
    for (const Figure<plan::Figures>& figure : kPlanFigures) {
      tiles.push_back({capitalised((*figure).in_full()),
                       text_of(figure.amount(s_.lookahead.figures)),
                       "as sliced " + text_of(figure.amount(s_.as_sliced.figures))});
    }
    out_ += "<section>\n<h2>With lookahead</h2>\n";
    add_tiles(tiles);
    out_ += "</section>\n";
  }

  void attention_section() {
    if (s_.job.tool_changes.empty()) return;
    const Attention a = attention(s_.job, s_.lookahead, s_.rules, s_.schedule);
    const auto at = [&](double time_s) {
      return s_.schedule ? spaced_minute(later(s_.schedule->start, time_s)) : clock(time_s);
    };
    out_ += "<section>\n<h2>When it may need attention</h2>\n";
    add_tiles({{"Expected stops", odds_text(a.expected_stops),
                std::string(a.expected_stops ? "by the rule file's fault_odds" : kGiveOdds)},
               {"Chance of none", chance_text(a.chance_of_none),
                counted(a.exchanges, "exchange", "exchanges")},
               {"Longest without an exchange", duration(a.quiet_to_s - a.quiet_from_s),
                at(a.quiet_from_s) + " to " + at(a.quiet_to_s)}});
    if (s_.schedule) {
      add("<p>From {} to {}, without time zones or daylight-saving time.</p>\n", at(0),
          at(s_.lookahead.figures.duration_s));
      out_ += hour_calendar(s_, a);
      if (a.given) {
        const Table away = away_table(a, *s_.schedule);
        add("<h3>{}</h3>\n{}", escaped(away.title), html_of(away));
      }
      finish_part();
    }
    out_ += "</section>\n";
  }

  void finish_part() {
    if (!s_.finish) return;
    const Table table = finish_table(s_);
    add("<h3>{}</h3>\n", escaped(table.title));
    std::string words;
    for (const std::string& w : finish_words(s_)) words += (words.empty() ? "" : "; ") + w;
    add("<p>{}.</p>\n{}", escaped(capitalised(words)), html_of(table));
  }

  void stop_section() {
    out_ += "<section>\n<h2>Stops</h2>\n";
    if (const Table pauses = pause_table(s_); !pauses.rows.empty()) {
      add("<p>{} that the job asks for. Nobody knows how long each lasts; the plan counts "
          "none.</p>\n"
          "{}",
          counted(pauses.rows.size(), "pause", "pauses"), html_of(pauses));
    }
    add("<p>{}.</p>\n", escaped(capitalised(idle_words(s_))));
    if (const std::string hot = hot_parked_words(s_); !hot.empty()) {
      add("<p>{}.</p>\n", escaped(capitalised(hot)));
    }
    out_ += "</section>\n";
  }

  // The moving picture, and the still one where no script runs.
  void picture_section(const std::string& still) {
    if (still.empty()) return;
    out_ +=
        "<section>\n<h2>What happens when</h2>\n<div class=\"tools live-only\">"
        "<button type=\"button\" id=\"in\">zoom in</button>"
        "<button type=\"button\" id=\"out\">zoom out</button>"
        "<button type=\"button\" id=\"all\">whole job</button>"
        "<label><input type=\"checkbox\" id=\"sliced\"> as sliced, too</label></div>\n"
        "<canvas id=\"picture\" class=\"live-only\" tabindex=\"0\" role=\"application\" "
        "aria-label=\"Timeline: what each toolhead does when\">"
        "</canvas>\n<canvas id=\"minimap\" class=\"live-only\" tabindex=\"0\" role=\"slider\" "
        "aria-label=\"Place in the job\" aria-valuemin=\"0\" aria-valuemax=\"100\" "
        "aria-valuenow=\"0\"></canvas>\n"
        "<div id=\"facts\" class=\"live-only\" aria-live=\"polite\">"
        "<p>Point at the picture, tap it, or give it the focus, to read what happens there. The "
        "wheel, two fingers, or + and − zoom; dragging or ← and → move; 0 shows the whole job. ↑ "
        "and ↓ choose the toolhead, comma and full stop the interval before and after; Enter or a "
        "click goes to its row. What is too narrow to be drawn stands together: heights are "
        "shares of time, and of heating power the most.</p></div>\n"
        "<div class=\"still-only\">\n";
    out_ += still;
    out_ += "</div>\n";
    if (p_.layers_s.empty() && s_.job.layers > 0) {
      out_ += "<p class=\"note\">Layers are left out: they are too many.</p>\n";
    }
    out_ += "</section>\n";
  }

  // A table that the script shows whole, and the first rows of it where no script runs.
  void long_section(const char* id, const std::string& title, const std::string& words,
                    const Table& first, std::size_t count, const char* one, const char* more) {
    add("<section>\n<h2>{}</h2>\n<p>{}</p>\n", escaped(title), escaped(words));
    if (count > 0) {
      add("<div id=\"{}\" class=\"live-only\" data-name=\"{}\"></div>\n<div "
          "class=\"still-only\">\n{}",
          id, escaped(title), html_of(first));
      if (count > first.rows.size()) {
        add("<p class=\"note\">These are the first {} of {}. Where scripts may run the page shows "
            "all of them; the CSV has all of them, too.</p>\n",
            first.rows.size(), counted(count, one, more));
      }
      out_ += "</div>\n";
    }
    out_ += "</section>\n";
  }

  void gap_section() {
    std::vector<const plan::GapPlan*> gaps;
    std::size_t late = 0;
    for (const plan::GapPlan& gap : s_.lookahead.gaps) {
      gaps.push_back(&gap);
      late += gap.wait_s >= kSomeWaitS ? 1 : 0;
    }
    const std::span<const plan::GapPlan* const> all = gaps;
    Table table = gap_table(s_, all.first(std::min(all.size(), kRowsStill)));
    // What the script shows has units of its own.
    table.note =
        "Times are from the job's start, waits included; dips are in °C, waiting and hot idle in "
        "seconds.";
    const std::string words = all.empty()
                                  ? std::string(kNoGaps)
                                  : fmt::format("{}; the machine waits after {} of them.",
                                                counted(all.size(), "gap", "gaps"),
                                                late == 0 ? "none" : fmt::format("{}", late));
    long_section("gaps", table.title, words, table, all.size(), "gap", "gaps");
  }

  // With the first selection and those of no tool: kinds that add up to all.
  [[nodiscard]] std::string all_in_words() const {
    std::string out = changes_in_words(s_.job);
    for (const job::ChangeKind kind : {job::ChangeKind::first, job::ChangeKind::park}) {
      if (const auto count = s_.job.count(kind); count > 0) {
        out += fmt::format(", {} {}", count, job::name_of(kind));
      }
    }
    return out;
  }

  void change_section(bool exchanges) {
    std::vector<std::size_t> which;
    for (std::size_t i = 0; i < s_.job.tool_changes.size(); ++i) {
      if (!exchanges || s_.job.tool_changes[i].exchanges()) which.push_back(i);
    }
    if (which.empty()) return;
    const std::size_t count = which.size();
    which.resize(std::min(count, kRowsStill));
    const Table table = change_table(s_, which, exchanges);
    if (exchanges) {
      long_section("exchanges", table.title,
                   counted(count, "exchange", "exchanges") + " of filament by a feeder.", table,
                   count, "exchange", "exchanges");
    } else {
      long_section("changes", table.title,
                   counted(count, "change", "changes") + ": " + all_in_words() + ".", table, count,
                   "change", "changes");
    }
  }

  const Summary& s_;
  const Picture& p_;
  std::string out_;
};

}  // namespace

std::string html(const Summary& summary, const Picture& picture) {
  return Page(summary, picture).run();
}

}  // namespace forewarm::report
