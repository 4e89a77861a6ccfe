// The sections of the page that show figures as bars, against the JSON of the same summary.
#include "report/page_sections.h"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "help/jobs.h"
#include "markup.h"
#include "report/figures.h"
#include "report/spools.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;
using Json = nlohmann::ordered_json;

namespace {

const std::string& text(const Cell& cell) { return std::get<std::string>(cell); }
double value(const Cell& cell) { return std::get<Amount>(cell).value; }
const CellBar& bar(const Cell& cell) { return std::get<CellBar>(cell); }

// As JSON rounds it.
double in_json(double x) { return thousandths(x); }

// Two toolheads, one with a feeder, by the planner; purged by step sequences and by exchanges.
struct Made {
  rules::Rules rules;
  job::Job job;
  plan::Plan as_sliced, timers, hold, lookahead;

  explicit Made(const std::string& gcode, const std::string& more = {}) {
    std::string toml = test::kTwoHeads + more;
    const std::string_view exchange = "exchange_s = 30\n";
    toml.insert(toml.find(exchange) + exchange.size(), "exchange_purge_mm3 = 40\n");
    rules = test::rules_of(toml);
    job = test::scan_of(gcode, rules);
    for (plan::Plan* p : {&as_sliced, &timers, &hold, &lookahead}) {
      const auto policy = p == &as_sliced ? rules::Policy::as_sliced
                          : p == &timers  ? rules::Policy::timers
                          : p == &hold    ? rules::Policy::hold
                                          : rules::Policy::lookahead;
      auto plan = plan::make(job, rules, policy);
      REQUIRE(plan.ok());
      *p = std::move(*plan);
    }
  }
  [[nodiscard]] Summary summary() const {
    return {"posts.gcode", job, rules, as_sliced, timers, hold, lookahead};
  }
};

const std::string kSteps =
    "name = \"heather\"\nafter_exchange = \"rinse\"\n[steps]\n"
    "rinse = [{ feed_mm = 12, speed_mm_s = 2 }, { feed_mm = -2, speed_mm_s = 20 }]\n";

std::string a_job() {
  return "M104 T0 S200\nM104 T1 S200\nT0\nM83\nG1 Z0.2 F600\nM109 T0 S200\n" + test::print(60) +
         "T1\nM109 T1 S200\n" + test::print(400) + "T2\nM109 T2 S210\n" + test::print(90) +
         "T0\nM109 T0 S200\n" + test::print(30) + "T0\nG4 S20\n" + test::print(5);
}

std::string all_sections(const Summary& s) {
  return policy_section(s) + time_section(s) + filament_section(s) + kind_section(s) +
         hour_calendar(s, attention(s.job, s.lookahead, s.rules, s.schedule));
}

}  // namespace

TEST_CASE("policies have the figures of the JSON, and bars of their length") {
  const Made m(a_job(), kSteps);
  const Sample sample;
  for (const Summary& s : {m.summary(), sample.summary()}) {
    const Json j = Json::parse(json(s));
    const std::vector<Table> tables = policy_bars(s);
    REQUIRE(tables.size() == kPlanFigures.size());
    for (std::size_t i = 0; i < tables.size(); ++i) {
      const std::string key((*kPlanFigures.at(i)).key);
      CAPTURE(key);
      const bool bounded = j["bound"].contains(key);
      REQUIRE(tables[i].rows.size() == (bounded ? 5 : 4));
      double most = bounded ? value(tables[i].rows[4].cells[2]) : 0;
      for (const Row& row : tables[i].rows) most = std::max(most, value(row.cells[2]));
      std::size_t r = 0;
      for (const auto& [name, figures] : j["policies"].items()) {
        CAPTURE(name);
        const Row& row = tables[i].rows[r++];
        CHECK(in_json(value(row.cells[2])) == figures[key].get<double>());
        REQUIRE(bar(row.cells[1]).parts.size() == 1);
        CHECK(bar(row.cells[1]).parts[0].share * most == Approx(value(row.cells[2])));
        REQUIRE(bar(row.cells[1]).line.has_value() == bounded);
        if (!bounded) continue;
        CHECK(*bar(row.cells[1]).line * most == Approx(value(tables[i].rows[4].cells[2])));
      }
      if (bounded)
        CHECK(in_json(value(tables[i].rows[4].cells[2])) == j["bound"][key].get<double>());
    }
    // Waiting and hot idle alone have a bound.
    CHECK(count(policy_section(s), "<th scope=\"row\">physical bound</th>") == 2);
    CHECK(broken_markup(policy_section(s)) == "");
  }
}

TEST_CASE("the policy in force is marked, and its bar drawn") {
  const Sample s;
  CHECK(has(policy_section(s.summary()),
            "<tr class=\"force\"><th scope=\"row\">lookahead *</th><td class=\"b\"><svg "
            "class=\"bar\" width=\"100%\" height=\"16\" aria-hidden=\"true\"><rect "
            "class=\"look-0\" x=\"0.000%\" y=\"0\" width=\"14.503%\" height=\"16\"/><line "));
  for (const auto& [policy, name] :
       {std::pair{rules::Policy::hold, "hold *"}, {rules::Policy::timers, "timers *"}}) {
    Sample other;
    other.rules.gap.policy = policy;
    const std::string section = policy_section(other.summary());
    CHECK(count(section, fmt::format("<tr class=\"force\"><th scope=\"row\">{}</th>", name)) ==
          kPlanFigures.size());
    CHECK(count(section, "<tr class=\"force\">") == kPlanFigures.size());
  }
}

TEST_CASE("the causes of time add up to the duration, in numbers and in the bar") {
  const Made m(a_job(), kSteps);
  const Sample sample;
  for (const Summary& s : {m.summary(), sample.summary()}) {
    const Json j = Json::parse(json(s));
    const Table table = time_bars(s);
    const Row& together = table.rows.back();
    const double all_s = s.lookahead.figures.duration_s;
    CHECK(value(together.cells[2]) == all_s);
    double sum_s = 0, from = 0;
    std::size_t drawn = 0;
    for (std::size_t r = 0; r + 1 < table.rows.size(); ++r) {
      const Row& row = table.rows[r];
      CAPTURE(text(row.cells[0]));
      const CellBar::Part& part = bar(row.cells[1]).parts.at(0);
      // Where the one above ends.
      CHECK(part.from == Approx(from).margin(1e-12));
      CHECK(part.share * all_s == Approx(value(row.cells[2])).margin(1e-9));
      sum_s += value(row.cells[2]);
      from += part.share;
      drawn += part.share > 0 ? 1 : 0;
    }
    CHECK(sum_s == Approx(all_s).epsilon(1e-12));
    CHECK(from == Approx(1).epsilon(1e-12));
    const auto& parts = bar(together.cells[1]).parts;
    REQUIRE(parts.size() == drawn);
    CHECK(parts.front().from == 0);
    CHECK(parts.back().from + parts.back().share == Approx(1).epsilon(1e-12));
    for (std::size_t i = 1; i < parts.size(); ++i) {
      CHECK(parts[i].from == Approx(parts[i - 1].from + parts[i - 1].share).margin(1e-12));
      CHECK(parts[i].look != parts[i - 1].look);
    }
    // The same causes as in the JSON, waiting by its own.
    double causes_s = 0;
    for (const auto& [key, seconds] : j["time_by_cause"].items()) causes_s += seconds.get<double>();
    CHECK(causes_s == Approx(all_s).margin(0.01));
    CHECK(in_json(value(table.rows[0].cells[2])) == j["time_by_cause"]["motion_s"].get<double>());
    double waits_s = 0;
    for (const Row& row : table.rows) {
      if (text(row.cells[0]).starts_with("Waiting: ")) waits_s += value(row.cells[2]);
    }
    CHECK(in_json(waits_s) == j["time_by_cause"]["wait_s"].get<double>());
    CHECK(broken_markup(time_section(s)) == "");
  }
}

TEST_CASE("the page says what the time goes to") {
  const Sample s;
  const std::string page = time_section(s.summary());
  // Shares of 3600 s by hand: 3300, 35, 70, 72.55, and what is left, 122.45.
  for (const char* row :
       {"<th scope=\"row\">Moving</th>", "<td>55 min 00 s</td><td>91.7 %</td>",
        "<td>35.0 s</td><td>1.0 %</td>", "<td>1 min 10 s</td><td>1.9 %</td>",
        "<th scope=\"row\">Waiting: start code</th>", "<td>1 min 00 s</td><td>1.7 %</td>",
        "<td>12.6 s</td><td>0.3 %</td>", "<td>2 min 02 s</td><td>3.4 %</td>",
        "<td>1 h 00 min</td><td>100.0 %</td></tr>\n</tbody>"}) {
    CAPTURE(row);
    CHECK(has(page, row));
  }
}

TEST_CASE("filament goes where the JSON has it") {
  const Made m(a_job(), kSteps);
  const Summary s = m.summary();
  const Json load = Json::parse(json(s))["load"];
  const Table table = filament_bars(s);
  REQUIRE(load.size() == 3);
  REQUIRE(table.rows.size() == 4);
  double together = 0, longest = 0;
  for (std::size_t r = 0; r < 3; ++r) {
    const auto& cells = table.rows[r].cells;
    const Json& l = load[r];
    CAPTURE(text(cells[0]));
    const auto g = [&](const char* key) { return l[key].get<double>(); };
    CHECK(in_json(value(cells[2])) == g("part_g"));
    CHECK(value(cells[3]) ==
          Approx(g("purge_g") - g("exchange_purge_g") - g("sequence_purge_g")).margin(0.002));
    CHECK(in_json(value(cells[4])) == g("exchange_purge_g"));
    CHECK(in_json(value(cells[5])) == g("sequence_purge_g"));
    CHECK(in_json(value(cells[6])) == g("priming_g"));
    CHECK(value(cells[7]) == Approx(g("part_g") + g("purge_g") + g("priming_g")).margin(0.002));
    together += value(cells[7]);
    double length = 0;
    for (const CellBar::Part& part : bar(cells[1]).parts) {
      CHECK(part.from == Approx(length).margin(1e-12));
      CHECK(part.share >= 0);
      length += part.share;
    }
    longest = std::max(longest, length);
  }
  CHECK(longest == Approx(1));
  CHECK(value(table.rows[3].cells[7]) == Approx(together));
  CHECK(value(table.rows[3].cells[8]) == 1);  // exchange
  const auto& heather = table.rows[2].cells;
  CHECK(text(heather[0]) == "T2 heather");
  CHECK(value(heather[5]) > 0);
  CHECK(broken_markup(filament_section(s)) == "");
  CHECK(has(filament_section(s), "<th scope=\"row\">T2 heather</th>"));
}

TEST_CASE("what sequences pull back has a number, but no bar") {
  Made m(a_job(), kSteps);
  REQUIRE_FALSE(m.lookahead.fed.empty());
  m.lookahead.fed.back().net_mm -= 500;
  const auto heather = filament_bars(m.summary()).rows[2].cells;
  CHECK(value(heather[6]) == Approx(-M_PI / 4 * 1.75 * 1.75 * 500 / 1000 * 1.24));
  CHECK(bar(heather[1]).parts[4].share == 0);
  CHECK(has(filament_section(m.summary()), "<td>-"));
}

TEST_CASE("changes by kind are all changes, and their time is that of the causes") {
  const Made m(a_job());
  const Summary s = m.summary();
  const Json j = Json::parse(json(s));
  const Table table = kind_bars(s);
  std::uint64_t changes = 0;
  double seconds = 0;
  for (const Row& row : table.rows) {
    const std::string& kind = text(row.cells[0]);
    if (kind == "together") continue;
    changes += std::uint64_t(value(row.cells[2]));
    seconds += value(row.cells[3]);
    if (j["changes"].contains(kind)) {
      CHECK(value(row.cells[2]) == j["changes"][kind].get<double>());
    }
  }
  CHECK(changes == s.job.tool_changes.size());
  const Causes causes = time_by_cause(s.job, s.lookahead);
  CHECK(seconds == Approx(causes.park_pick_s + causes.exchange_s));
  CHECK(value(table.rows.back().cells[2]) == double(changes));
  CHECK(value(table.rows.back().cells[3]) == Approx(seconds));
  // By hand: T0 first; T1; T2; T0; T0 once more.
  for (const char* row : {"<th scope=\"row\">first</th>", "<th scope=\"row\">redundant</th>"}) {
    CHECK(has(kind_section(s), row));
  }
  CHECK(changes == 5);
}

TEST_CASE("the calendar of hours has every exchange in its hour") {
  Sample s;
  Summary summary = s.summary();
  const auto calendar = [&](const char* start, std::vector<std::string> away = {}) {
    summary.schedule = Schedule{*parse_start(start), {}};
    for (const std::string& hours : away) summary.schedule->away.push_back(*parse_away(hours));
    const std::string out =
        hour_calendar(summary, attention(s.job, s.lookahead, s.rules, summary.schedule));
    CHECK(broken_markup(out) == "");
    return out;
  };
  // 2055 s and 2310.5 s after 23:24: before midnight, and after it.
  const std::string two_days = calendar("2027-03-05T23:24", {"00:30-07:00"});
  CHECK(count(two_days, "<li class=") == 2 * 24);
  CHECK(has(two_days, "<h4>2027-03-05</h4>"));
  CHECK(
      has(two_days, "<li class=\"shade-4\"><span>23</span> <b>1</b></li>\n</ol>\n<h4>2027-03-06"));
  // Away in a part of the hour.
  CHECK(has(two_days, "<li class=\"shade-4 away\"><span>00</span> <b>1</b><i>away</i></li>"));
  CHECK(has(two_days, "<li class=\"shade-0 idle away\"><span>06</span> –<i>away</i></li>"));
  CHECK(has(two_days, "<li class=\"shade-0 idle\"><span>07</span> –</li>"));
  CHECK(has(two_days, "double line below"));
  // It runs for 3600 s: an hour in which nothing happens before one that has both.
  const std::string one_day = calendar("2027-03-05T20:40");
  CHECK(count(one_day, "<li class=") == 24);
  CHECK(has(one_day, "<li class=\"shade-0\"><span>20</span> <b>0</b></li>"));
  CHECK(has(one_day, "<li class=\"shade-4\"><span>21</span> <b>2</b></li>"));
  CHECK_FALSE(has(one_day, "double line below"));
  // It runs until 21:40, and at 22:00 it does not.
  CHECK(has(one_day, "<li class=\"shade-0 idle\"><span>22</span> –</li>"));
  CHECK(count(one_day, " idle") == 22);
  // Without a start, or without exchanges, there is none.
  summary.schedule.reset();
  CHECK(hour_calendar(summary, attention(s.job, s.lookahead, s.rules, {})).empty());
  s.job.tool_changes.clear();
  CHECK(calendar("2027-03-05T20:40").empty());
}

TEST_CASE("an hour with any exchange is shaded, the darker the more of them") {
  Sample s;
  const job::ToolChange exchange = s.job.tool_changes.back();
  s.job.tool_changes.clear();
  s.lookahead.change_at_s.clear();
  const std::vector<int> hours{1, 2, 3, 4, 9, 16};
  for (std::size_t hour = 0; hour < hours.size(); ++hour) {
    for (int i = 0; i < hours[hour]; ++i) {
      s.lookahead.change_at_s.push_back(3600.0 * double(hour) + 60.0 * i);
      s.job.tool_changes.push_back(exchange);
    }
  }
  s.lookahead.figures.duration_s = 6 * 3600;
  Summary summary = s.summary();
  summary.schedule = Schedule{*parse_start("2027-03-05T08:00"), {}};
  const std::string out =
      hour_calendar(summary, attention(s.job, s.lookahead, s.rules, summary.schedule));
  // Of 16, each begun quarter.
  const std::vector<int> shades{1, 1, 1, 1, 3, 4};
  for (std::size_t hour = 0; hour < hours.size(); ++hour) {
    CHECK(has(out, fmt::format("<li class=\"shade-{}\"><span>{:02}</span> <b>{}</b></li>",
                               shades[hour], hour + 8, hours[hour])));
  }
}

TEST_CASE("exchanges of more than fourteen days have no row each") {
  Sample s;
  const job::ToolChange exchange = s.job.tool_changes.back();
  REQUIRE(exchange.exchanges());
  s.job.tool_changes.clear();
  s.lookahead.change_at_s.clear();
  const auto calendar = [&](int days) {
    while (int(s.job.tool_changes.size()) < days) {
      s.lookahead.change_at_s.push_back(86400.0 * double(s.job.tool_changes.size()));
      s.job.tool_changes.push_back(exchange);
    }
    s.lookahead.figures.duration_s = s.lookahead.change_at_s.back() + 600;
    Summary summary = s.summary();
    summary.schedule = Schedule{*parse_start("2027-03-05T08:00"), {}};
    return hour_calendar(summary, attention(s.job, s.lookahead, s.rules, summary.schedule));
  };
  CHECK(count(calendar(14), "<span>08</span> <b>1</b>") == 14);
  CHECK_FALSE(has(calendar(14), "And on later days."));
  const std::string longer = calendar(15);
  CHECK(broken_markup(longer) == "");
  CHECK(count(longer, "<span>08</span> <b>1</b>") == 14);
  CHECK(has(longer, "And on later days."));
}

TEST_CASE("jobs with little in them have sections all the same") {
  for (const std::string& gcode :
       {std::string("G1 X10 F600\n"), "M104 T0 S200\nT0\nM83\nM109 T0 S200\n" + test::print(20),
        std::string("T0\nT1\n")}) {
    CAPTURE(gcode);
    const Made m(gcode);
    const std::string page = all_sections(m.summary());
    CHECK(broken_markup(page) == "");
    CHECK(has(page, "<th scope=\"row\">together</th>"));
    for (const char* none : {"nan", "inf", "-0.0"}) {
      CAPTURE(none);
      CHECK_FALSE(has(page, none));
    }
  }
  Sample s;
  s.job = {};
  for (plan::Plan* p : {&s.as_sliced, &s.timers, &s.hold, &s.lookahead}) *p = {};
  CHECK(kind_section(s.summary()).empty());
  CHECK(filament_section(s.summary()).empty());
  CHECK(has(time_section(s.summary()), "<td>0 s</td><td></td></tr>\n</tbody>"));
  CHECK(broken_markup(all_sections(s.summary())) == "");
}

TEST_CASE("hostile names in the sections are text, nothing else") {
  Made m(a_job());
  for (const std::string& evil : {std::string("</script><svg onload=\"alert(1)\">'\"&\x1b\xff"),
                                  std::string("\xe2\x80\xae"
                                              "detrevni \xe2\x81\xa6"),
                                  std::string(10'000, 'w')}) {
    m.rules.filaments.front().name = evil;
    const std::string page = all_sections(m.summary());
    CAPTURE(evil.substr(0, 40));
    CHECK(broken_markup(page) == "");
    for (const char* raw :
         {"</script", "<svg onload", "\x1b", "\xff", "\xe2\x80\xae", "\xe2\x81\xa6"}) {
      CHECK_FALSE(has(page, raw));
    }
    CHECK(page.size() < 40'000);
  }
  CHECK(has(filament_section(m.summary()), std::string(80, 'w') + "...</th>"));
}
