#include "report/page_start.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "report/attention.h"
#include "report/figures.h"
#include "report/findings.h"
#include "report/spools.h"
#include "report/stops.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kLongestName = 80;

// As the rule file would have it, in six digits.
std::string amount(double x, std::string_view unit) { return fmt::format("{:.6g} {}", x, unit); }

std::string list_of(const Facts& facts) {
  std::string out = "<div class=\"facts\">\n";
  for (const auto& [name, text] : facts) {
    out += fmt::format("<dl><dt>{}</dt><dd>{}</dd></dl>\n", escaped(name), escaped(text));
  }
  return out + "</div>\n";
}

// What each tool of the toolhead is printed at, and waits at.
void add_temperatures(const Summary& s, std::size_t head, Facts& facts) {
  std::map<int, std::set<double>> work_c;  // none: nothing in the job says
  for (const job::ToolUse& use : s.job.uses) {
    if (use.head != head) continue;
    std::set<double>& of_tool = work_c[use.tool];
    if (use.work_c) of_tool.insert(*use.work_c);
  }
  for (const auto& [tool, temperatures] : work_c) {
    const rules::Filament filament = s.rules.filament(tool);
    std::string words;
    for (const double c : temperatures) {
      words += fmt::format("{}{:.6g}", words.empty() ? "works at " : ", ", c);
    }
    if (!words.empty()) words += " °C, ";
    const std::string name = fmt::format("T{}", tool);
    facts.emplace_back(
        filament.name == name ? name : name + ' ' + clean(filament.name, kLongestName),
        words + "standby at " + amount(filament.standby_c, "°C"));
  }
}

}  // namespace

std::vector<std::string> start_words(const Summary& s) {
  std::vector<std::string> out = load_words(s);
  for (const std::string& warning : spool_warnings(s.job, s.lookahead, s.rules, s.spool_ends)) {
    out.push_back("There is more filament at hand: " + warning + ".");
  }
  if (!s.job.pauses.empty()) {
    const double at_s = s.lookahead.pause_at_s.front();
    const std::size_t count = s.job.pauses.size();
    out.push_back(
        fmt::format("Somebody is there for {} of the job{} {}.", counted(count, "pause", "pauses"),
                    count == 1 ? ", at" : ", the first at",
                    s.schedule ? spaced_minute(later(s.schedule->start, at_s)) : clock(at_s)));
  }
  if (s.lookahead.changes_anything()) {
    out.push_back(
        fmt::format("The job on the machine is the rewritten one: its first line has rules={}.",
                    hash_text(s.rules.hash)));
  }
  out.emplace_back("Thermal-runaway protection is on, and a smoke alarm is near.");
  if (s.job.heads.size() > 1) {
    out.emplace_back("Nobody reaches into the machine: toolheads are hot while they are parked.");
  }
  if (s.lookahead.without_command.seconds() > 0) {
    out.push_back(fmt::format(
        "An idle shut-off of the firmware is on, and comes {:.0f} s or more after the last "
        "command.",
        shut_off_from_s(s.lookahead)));
  }
  return out;
}

Facts made_with(const Summary& s) {
  Facts out;
  out.emplace_back("rule file", s.rules.built_in ? "none: built-in guesses" : s.rules.file);
  out.emplace_back("its hash", hash_text(s.rules.hash));
  for (const std::string& setting : s.rules.settings) {
    out.emplace_back("in place of its value", setting);
  }
  out.emplace_back("its policy", rules::name_of(s.rules.gap.policy));
  out.emplace_back("machine", s.rules.machine.name);
  if (const auto& limit_w = s.rules.machine.heating_limit_w) {
    out.emplace_back("heating_limit_w", amount(*limit_w, "W"));
    out.emplace_back("bed_w", amount(s.rules.machine.bed_w, "W"));
  }
  if (!s.version.empty()) out.emplace_back("program", "forewarm " + std::string(s.version));
  return out;
}

std::vector<HeaterFacts> heater_facts(const Summary& s) {
  std::vector<HeaterFacts> out;
  for (std::size_t h = 0; h < s.job.heads.size(); ++h) {
    const bool used = std::any_of(s.job.uses.begin(), s.job.uses.end(),
                                  [h](const job::ToolUse& use) { return use.head == h; });
    if (!used) continue;
    const rules::Toolhead& head = s.job.heads[h];
    const thermal::Hotend& hotend = head.hotend;
    Facts facts;
    facts.emplace_back("heater.index", fmt::format("{}", head.heater_index));
    facts.emplace_back("power_w", amount(hotend.power_w, "W"));
    facts.emplace_back("full_drive_c", amount(hotend.full_drive_c, "°C"));
    facts.emplace_back("time_constant_s", amount(hotend.time_constant_s, "s"));
    const auto add_if_any = [&](const char* key, double x, const char* unit) {
      if (x > 0) facts.emplace_back(key, amount(x, unit));
    };
    add_if_any("cool_time_constant_s", hotend.cool_time_constant_s, "s");
    add_if_any("dead_time_s", hotend.dead_time_s, "s");
    add_if_any("approach_c", hotend.approach_c, "°C");
    add_if_any("reached_c", hotend.reached_c, "°C");
    add_if_any("settle_s", hotend.settle_s, "s");
    facts.emplace_back("ambient_c", amount(hotend.ambient_c, "°C"));
    facts.emplace_back("max_c", amount(head.max_c, "°C"));
    add_temperatures(s, h, facts);
    out.push_back({clean(head.name, kLongestName), std::move(facts)});
  }
  return out;
}

std::string start_section(const Summary& s) {
  std::string out = "<section>\n<h2>Before pressing start</h2>\n";
  if (const Table sheet = load_table(s); !sheet.rows.empty()) {
    out += fmt::format("<h3>{}</h3>\n<div class=\"ticks\">{}</div>\n", escaped(sheet.title),
                       html_of(sheet));
  }
  out += "<ul class=\"ticks\">\n";
  for (const std::string& words : start_words(s)) {
    out += fmt::format("<li>{}</li>\n", escaped(words));
  }
  out += "</ul>\n<h3>Made with</h3>\n" + list_of(made_with(s));
  const std::vector<HeaterFacts> heaters = heater_facts(s);
  if (!heaters.empty()) {
    out += "<h3>Heaters</h3>\n<div class=\"cards\">\n";
    for (const HeaterFacts& heater : heaters) {
      out += fmt::format("<div>\n<h4>{}</h4>\n{}</div>\n", escaped(heater.toolhead),
                         list_of(heater.facts));
    }
    out +=
        "</div>\n<p class=\"note\">Guessed figures make guessed plans: forewarm calibrate measures "
        "them. forewarm explain KEY says what each is.</p>\n";
  }
  return out + "</section>\n";
}

Table check_table(const check::Report& report) {
  Table out{.title = "Check"};
  out.columns = {{.head = "line", .kind = Column::Kind::text},
                 {.head = "kind", .kind = Column::Kind::name},
                 {.head = "message", .kind = Column::Kind::text}};
  for (const check::Finding& f : report.findings.list()) {
    out.rows.push_back({.cells = {f.line > 0 ? fmt::format("{}", f.line) : std::string(),
                                  std::string(check::name_of(f.id)), f.message}});
  }
  if (const std::uint64_t more = report.findings.left_out(); more > 0) {
    out.note = fmt::format("And {} more of the same kinds. ", more);
  }
  out.note += "Lines are those of the rewritten job.";
  return out;
}

std::string check_section(const Summary& s) {
  std::string out = "<section>\n<h2>Check</h2>\n";
  if (s.checked == nullptr) {
    out +=
        "<p>The check did not run. forewarm rewrite --check --html PAGE JOB rewrites the job and "
        "checks it; forewarm check ORIGINAL REWRITTEN checks one that is there.</p>\n";
  } else if (s.checked->findings.list().empty()) {
    out += fmt::format("<p>The rewritten job was replayed, and nothing is wrong with it. {}.</p>\n",
                       escaped(capitalised(found_words(*s.checked))));
  } else {
    out += fmt::format(
        "<p class=\"caution\"><strong>Do not print it.</strong> The rewritten job has {}.</p>\n{}",
        escaped(found_words(*s.checked)), html_of(check_table(*s.checked)));
    out += "<ul>\n";
    for (const check::Id id : ids_of(*s.checked)) {
      out += fmt::format("<li>{}: {}</li>\n", escaped(check::name_of(id)),
                         escaped(check::explain(id)));
    }
    out += "</ul>\n";
  }
  return out + "</section>\n";
}

}  // namespace forewarm::report
