#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <iterator>

#include "report/beginnings.h"
#include "report/figures.h"
#include "report/page.h"
#include "report/report.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kRowsOpen = 400;  // gaps shown before the rest is folded away

class Page {
 public:
  explicit Page(const Summary& summary) : s_(summary) {}

  std::string run() {
    const std::string path = escaped(s_.path);
    // Names come from jobs: even if one got through the escaping, it could load and run nothing.
    out_ += kPageBeginning;
    add("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
        "<meta name=\"color-scheme\" content=\"light dark\">\n<title>{} - forewarm</title>\n",
        path);
    out_ += "<style>\n";
    out_ += kStyle;
    out_ += "</style>\n</head>\n<body>\n<main>\n";
    header(path);
    tiles();
    policy_table();
    out_ += timeline(s_);
    toolhead_table();
    filament_table();
    cause_table();
    attention_section();
    gap_tables();
    out_ += "</main>\n</body>\n</html>\n";
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
        "<p>Changes: {} toolhead, {} filament, {} both, {} redundant</p>\n<p>Rules: {}</p>\n"
        "</header>\n",
        path, escaped(s_.rules.machine.name), counted(job.layers, "layer", "layers"),
        counted(job.lines, "line", "lines"), size(job.bytes), duration(job.motion_s),
        job.count(job::ChangeKind::toolhead), job.count(job::ChangeKind::filament),
        job.count(job::ChangeKind::both), job.count(job::ChangeKind::redundant),
        escaped(rules_words(s_.rules)));
    const std::string breaks_off = job.ending.warning();
    if (!breaks_off.empty()) {
      add("<p class=\"caution\"><strong>Warning.</strong> The job: {}</p>\n", escaped(breaks_off));
    }
    add("<p class=\"caution\"><strong>Caution.</strong> {}</p>\n", escaped(kCautions));
  }

  void tile(const char* name, const std::string& value, const std::string& was) {
    add("<div><dt>{}</dt><dd>{}</dd><dd class=\"was\">as sliced {}</dd></div>\n", name, value, was);
  }

  void tiles() {
    const plan::Figures& now = s_.lookahead.figures;
    const plan::Figures& was = s_.as_sliced.figures;
    out_ += "<section>\n<h2>With lookahead</h2>\n<dl class=\"tiles\">\n";
    tile("Time", duration(now.duration_s), duration(was.duration_s));
    tile("Waiting", duration(now.wait_s), duration(was.wait_s));
    tile("Hot idle", duration(now.hot_idle_s), duration(was.hot_idle_s));
    tile("Energy", number(now.energy_wh, 1) + " Wh", number(was.energy_wh, 1) + " Wh");
    tile("Cold starts", fmt::format("{}", now.cold_starts), fmt::format("{}", was.cold_starts));
    tile("Peak heating power", number(now.peak_heating_w, 0) + " W",
         number(was.peak_heating_w, 0) + " W");
    out_ += "</dl>\n</section>\n";
  }

  // A wide table scrolls in its own box, not the page.
  void open_table(std::string_view columns) {
    out_ += "<div class=\"scroll\"><table>\n<thead><tr>";
    for (bool numeric = false; !columns.empty();) {
      const std::string_view name = columns.substr(0, columns.find('|'));
      columns.remove_prefix(std::min(columns.size(), name.size() + 1));
      numeric = !name.empty() && name[0] == '#';
      if (numeric) {
        add("<th scope=\"col\" class=\"n\">{}</th>", name.substr(1));
      } else {
        add("<th scope=\"col\">{}</th>", name);
      }
    }
    out_ += "</tr></thead>\n<tbody>\n";
  }
  void close_table() { out_ += "</tbody>\n</table></div>\n"; }

  void policy_table() {
    out_ += "<section>\n<h2>Policies side by side</h2>\n";
    open_table("Policy|#Time|#Waiting|#Hot idle|#Energy|#Cold starts|#Peak power");
    for (const PolicyRow& p : policies(s_)) {
      const plan::Figures& f = p.plan->figures;
      const bool in_force = p.plan->policy == s_.rules.gap.policy;
      add("<tr{}><th scope=\"row\">{}{}</th><td>{}</td><td>{}</td><td>{}</td><td>{} Wh</td>"
          "<td>{}</td><td>{} W</td></tr>\n",
          in_force ? " class=\"force\"" : "", rules::name_of(p.plan->policy), in_force ? " *" : "",
          duration(f.duration_s), duration(f.wait_s), duration(f.hot_idle_s),
          number(f.energy_wh, 1), f.cold_starts, number(f.peak_heating_w, 0));
    }
    const Bound least = bound(s_.lookahead);
    add("<tr class=\"bound\"><th scope=\"row\">physical bound</th><td></td><td>{}</td><td>{}</td>"
        "<td></td><td></td><td></td></tr>\n",
        duration(least.wait_s), duration(least.hot_idle_s));
    close_table();
    add("<p class=\"note\">* the rule file&#39;s policy. {}</p>\n</section>\n", kBoundNote);
  }

  void toolhead_table() {
    out_ += "<section>\n<h2>Toolheads</h2>\n";
    open_table("Toolhead|#Uses|#Hold|#Standby|#Off|#Hot idle|#Energy|#Waiting");
    for (std::size_t h = 0; h < s_.lookahead.heads.size(); ++h) {
      const plan::HeadFigures& f = s_.lookahead.heads[h];
      add("<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td>"
          "<td>{} Wh</td><td>{}</td></tr>\n",
          escaped(head_name(s_, h)), f.uses, f.hold, f.standby, f.off, duration(f.hot_idle_s),
          number(f.energy_wh, 1), duration(f.wait_s));
    }
    close_table();
    out_ += "</section>\n";
  }

  void filament_table() {
    if (s_.job.materials.empty()) return;
    out_ += "<section>\n<h2>Filaments</h2>\n";
    open_table("Filament|Tool|#Part|#Purge|#Exchanges");
    constexpr auto kRow =
        "<th scope=\"row\">{}</th><td class=\"t\">{}</td><td>{} g</td><td>{} g</td><td>{}</td>"
        "</tr>\n";
    Grams sum;
    std::uint64_t exchanges = 0;
    for (const job::Material& m : s_.job.materials) {
      const rules::Filament filament = s_.rules.filament(m.tool);
      const Grams g = grams(m, filament, stepped_mm(s_.lookahead, m.tool));
      sum.part_g += g.part_g;
      sum.purge_g += g.purge_g;
      exchanges += m.exchanges;
      out_ += "<tr>";
      add(fmt::runtime(kRow), escaped(filament.name), fmt::format("T{}", m.tool),
          number(g.part_g, 1), number(g.purge_g, 1), m.exchanges);
    }
    out_ += "<tr class=\"bound\">";
    add(fmt::runtime(kRow), "together", "", number(sum.part_g, 1), number(sum.purge_g, 1),
        exchanges);
    close_table();
    out_ += "</section>\n";
  }

  void cause_table() {
    const Causes c = time_by_cause(s_.job, s_.lookahead);
    const double all_s = s_.lookahead.figures.duration_s;
    out_ += "<section>\n<h2>What the time goes to</h2>\n";
    open_table("Cause|#Time|#Share");
    const auto row = [&](const char* style, const char* cause, double seconds) {
      add("<tr{}><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>\n", style, cause,
          duration(seconds), all_s > 0 ? number(100 * seconds / all_s, 1) + " %" : "");
    };
    row("", "Moving", c.motion_s);
    row("", "Parking and picking", c.park_pick_s);
    row("", "Exchanging", c.exchange_s);
    row("", "Step sequences", c.sequence_s);
    for (const WaitCause& cause : wait_causes(s_.lookahead.figures.waits)) {
      row("", fmt::format("Waiting: {}", cause.name).c_str(), cause.seconds);
    }
    row("", "Other", c.other_s);
    row(" class=\"bound\"", "together", all_s);
    close_table();
    out_ += "</section>\n";
  }

  void attention_section() {
    if (s_.job.tool_changes.empty()) return;
    const Attention a = attention(s_.job, s_.lookahead, s_.rules, s_.schedule);
    const auto at = [&](double time_s) {
      return s_.schedule ? spaced_minute(later(s_.schedule->start, time_s)) : clock(time_s);
    };
    out_ += "<section>\n<h2>When it may need somebody</h2>\n<dl class=\"tiles\">\n";
    const auto fact = [&](const char* name, const std::string& value, const std::string& more) {
      add("<div><dt>{}</dt><dd>{}</dd><dd class=\"was\">{}</dd></div>\n", name, value, more);
    };
    fact("Expected stops", odds_text(a.expected_stops),
         escaped(a.expected_stops ? "by the rule file's fault_odds" : kGiveOdds));
    fact("Chance of none", chance_text(a.chance_of_none),
         counted(a.exchanges, "exchange", "exchanges"));
    fact("Longest without an exchange", duration(a.quiet_to_s - a.quiet_from_s),
         at(a.quiet_from_s) + " to " + at(a.quiet_to_s));
    out_ += "</dl>\n";
    if (s_.schedule) {
      add("<p>From {} to {}, without time zones or daylight-saving time.</p>\n", at(0),
          at(s_.lookahead.figures.duration_s));
      hour_table(a);
      if (a.given) away_table(a);
    }
    out_ += "</section>\n";
  }

  // A row for each day.
  void hour_table(const Attention& a) {
    if (a.exchanges == 0) return;
    open_table("Day|Exchanges, by the hour");
    std::string day;
    std::size_t days = 0;
    bool more = false;
    for (const HourCount& h : exchanges_by_hour(a, s_.schedule->start)) {
      const bool same_day = h.date == day;
      if (!same_day) {
        more = ++days > kDaysShown;
        if (more) break;
        if (days > 1) out_ += "</td></tr>\n";
        day = h.date;
        add("<tr><th scope=\"row\">{}</th><td class=\"t\">", day);
      }
      add("{}{:02}h {}", same_day ? ", " : "", h.hour, h.exchanges);
    }
    out_ += "</td></tr>\n";
    close_table();
    if (more) out_ += "<p class=\"note\">And on later days.</p>\n";
  }

  void away_table(const Attention& a) {
    add("<h3>Away {}</h3>\n", away_words(*s_.schedule));
    open_table("Started|#Exchanges then|#Expected stops then");
    const auto row = [&](const AtStart& s) {
      add("<tr><th scope=\"row\">{}</th><td>{} of {}</td><td>{}</td></tr>\n",
          spaced_minute(s.start), s.exchanges_away, a.exchanges, odds_text(s.expected_stops_away));
    };
    row(*a.given);
    const bool better = a.best->start != a.given->start;
    if (better) row(*a.best);
    close_table();
    add("<p class=\"note\">No start within 24 h, in steps of 15 min, has fewer exchanges in those "
        "hours than {}.</p>\n",
        better ? "the second, and none as few before" : "this");
  }

  void gap_table(std::size_t from, std::size_t to) {
    open_table("Toolhead|#From|#To|Treatment|#Dip|#Preheat|#Waiting|#Hot idle|Reason");
    for (std::size_t g = from; g < to; ++g) {
      const plan::GapPlan& gap = s_.lookahead.gaps[g];
      const bool late = gap.wait_s >= kSomeWaitS;
      add("<tr{}><td class=\"t\">{}</td><td>{}</td><td>{}</td><td class=\"t\">{}</td><td>{}</td>"
          "<td>{}</td><td>{}</td><td>{}</td><td class=\"t\">{}</td></tr>\n",
          late ? " class=\"late\"" : "", escaped(head_name(s_, gap.head)), clock(gap.from_s),
          clock(gap.to_s), plan::name_of(gap.treatment), number(gap.dip_c, 0),
          gap.preheat_at_s ? clock(*gap.preheat_at_s) : "", late ? number(gap.wait_s, 1) : "0",
          number(gap.hot_idle_s, 0), escaped(gap.reason));
    }
    close_table();
  }

  void gap_tables() {
    const std::size_t all = s_.lookahead.gaps.size();
    out_ += "<section>\n<h2>Gaps</h2>\n";
    if (all == 0) {
      out_ += "<p>No toolhead is ever parked hot: there is nothing to plan.</p>\n</section>\n";
      return;
    }
    const auto late = std::count_if(s_.lookahead.gaps.begin(), s_.lookahead.gaps.end(),
                                    [](const plan::GapPlan& g) { return g.wait_s >= kSomeWaitS; });
    add("<p>{}; the machine waits after {} of them. Times are from the job&#39;s start, waits "
        "included; dips are in °C, waiting and hot idle in seconds.</p>\n",
        counted(all, "gap", "gaps"), late == 0 ? "none" : fmt::format("{}", late));
    gap_table(0, std::min(all, kRowsOpen));
    if (all > kRowsOpen) {
      add("<details>\n<summary>{} more</summary>\n", counted(all - kRowsOpen, "gap", "gaps"));
      gap_table(kRowsOpen, all);
      out_ += "</details>\n";
    }
    out_ += "</section>\n";
  }

  const Summary& s_;
  std::string out_;
};

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : clean(text, 4096)) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

std::string html(const Summary& summary) { return Page(summary).run(); }

}  // namespace forewarm::report
