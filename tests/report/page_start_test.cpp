// What the page says to do before the start, and of the check.
#include "report/page_start.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <string>

#include "help/jobs.h"
#include "markup.h"
#include "report/stops.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;
using Json = nlohmann::ordered_json;

namespace {

std::string fact(const Facts& facts, const std::string& name) {
  for (const auto& [key, text] : facts) {
    if (key == name) return text;
  }
  return "none";
}

struct Made {
  rules::Rules rules;
  job::Job job;
  plan::Plan plan;
  explicit Made(const std::string& more = {}) {
    rules = test::rules_of(test::kTwoHeads + std::string("name = \"heather\"\n") + more);
    job = test::scan_of("M104 T0 S200\nM104 T1 S205\nT0\nM83\nG1 Z0.2 F600\nM109 T0 S200\n" +
                            test::print(60) + "T1\nM109 T1 S205\n" + test::print(400) +
                            "T2\nM109 T2 S215.5\n" + test::print(90) + "T0\nM109 T0 S200\n" +
                            test::print(30),
                        rules);
    auto made = plan::make(job, rules, rules::Policy::lookahead);
    REQUIRE(made.ok());
    plan = std::move(*made);
  }
  [[nodiscard]] Summary summary() const {
    return {"posts.gcode", job, rules, plan, plan, plan, plan};
  }
};

bool says(const std::vector<std::string>& words, std::string_view what) {
  return std::any_of(words.begin(), words.end(),
                     [&](const std::string& w) { return has(w, what); });
}

}  // namespace

TEST_CASE("the check list says what lies where, and what to look at") {
  Made m;
  const std::vector<std::string> words = start_words(m.summary());
  for (const char* part :
       {"ash: T0 is in it from start to end.",
        "birch, with a feeder: T1 must be in it when the job starts, and T2 (heather) ready in the "
        "feeder; T2 (heather) is in it at the end.",
        "its first line has rules=", "Thermal-runaway protection is on", "toolheads are hot"}) {
    CAPTURE(part);
    CHECK(says(words, part));
  }
  CHECK(says(words, fmt::format("comes {:.0f} s or more after", shut_off_from_s(m.plan))));
  CHECK(says(words, hash_text(m.rules.hash)));
  CHECK_FALSE(says(words, "pause"));
  CHECK_FALSE(says(words, "at hand"));

  const std::string page = start_section(m.summary());
  CHECK(broken_markup(page) == "");
  CHECK(has(
      page,
      "<h3>Load sheet</h3>\n<div class=\"ticks\"><div class=\"scroll\" tabindex=\"0\"><table>"));
  for (const std::string& w : words) CHECK(has(page, "<li>" + escaped(w) + "</li>"));
}

TEST_CASE("the grams of the page's load sheet are those of the JSON") {
  const Made m;
  const std::string page = start_section(m.summary());
  const Json figures = Json::parse(json(m.summary()));
  REQUIRE_FALSE(figures["load"].empty());
  for (const Json& load : figures["load"]) {
    const double g = load["needed_g"].get<double>();
    CHECK(has(page, "<td>" + number(g, 1) + " g</td>"));
  }
}

TEST_CASE("pauses, and a spool that runs out, are on the check list") {
  Sample s;
  s.job.pauses = {{}, {}};
  s.lookahead.pause_at_s = {600, 1200};
  Summary summary = s.summary();
  CHECK(says(start_words(summary),
             "Somebody is there for 2 pauses of the job, the first at 0:10:00."));
  s.job.pauses.pop_back();
  summary.schedule = Schedule{*parse_start("2027-03-05T18:00"), {}};
  CHECK(
      says(start_words(summary), "Somebody is there for 1 pause of the job, at 2027-03-05 18:10."));

  const Made m("spool_g = 0.2\n");
  Summary short_of = m.summary();
  const std::vector<job::SpoolEnd> ends{{.tool = 2, .at = m.job.tool_changes[2].at, .line = 12}};
  short_of.spool_ends = ends;
  CHECK(says(start_words(short_of),
             "There is more filament at hand: the spool of T2 (heather) runs out after "));
}

TEST_CASE("a job that stays as it is has no header to look for") {
  Sample s;
  CHECK_FALSE(s.lookahead.changes_anything());
  CHECK_FALSE(says(start_words(s.summary()), "rules="));
}

TEST_CASE("the page says what its figures were made with") {
  Made m;
  Summary summary = m.summary();
  summary.version = "1.2.3";
  Facts facts = made_with(summary);
  CHECK(fact(facts, "its hash") == hash_text(m.rules.hash));
  CHECK(fact(facts, "its policy") == "lookahead");
  CHECK(fact(facts, "program") == "forewarm 1.2.3");
  CHECK(fact(facts, "in place of its value") == "none");
  CHECK(fact(facts, "heating_limit_w") == "none");
  m.rules.file = "posts.toml";
  m.rules.settings = {"gap.off_over_s = 900"};
  m.rules.machine.heating_limit_w = 120;
  m.rules.machine.bed_w = 30.5;
  facts = made_with(summary);
  CHECK(fact(facts, "rule file") == "posts.toml");
  CHECK(fact(facts, "in place of its value") == "gap.off_over_s = 900");
  CHECK(fact(facts, "heating_limit_w") == "120 W");
  CHECK(fact(facts, "bed_w") == "30.5 W");
  m.rules.built_in = true;
  CHECK(fact(made_with(summary), "rule file") == "none: built-in guesses");
  summary.version = {};
  CHECK(fact(made_with(summary), "program") == "none");
}

TEST_CASE("each heater that is used has its constants and temperatures, with units") {
  Made m;
  thermal::Hotend& birch = m.job.heads[1].hotend;
  birch.cool_time_constant_s = 240;
  birch.approach_c = 12.5;
  birch.reached_c = 2;
  birch.settle_s = 5;
  const std::vector<HeaterFacts> heaters = heater_facts(m.summary());
  REQUIRE(heaters.size() == 2);
  CHECK(heaters[0].toolhead == "ash");
  const Facts expected{{"heater.index", "0"},      {"power_w", "50 W"},
                       {"full_drive_c", "420 °C"}, {"time_constant_s", "200 s"},
                       {"dead_time_s", "2 s"},     {"ambient_c", "20 °C"},
                       {"max_c", "290 °C"},        {"T0", "works at 200 °C, standby at 170 °C"}};
  CHECK(heaters[0].facts == expected);
  const Facts& of_birch = heaters[1].facts;
  CHECK(fact(of_birch, "cool_time_constant_s") == "240 s");
  CHECK(fact(of_birch, "approach_c") == "12.5 °C");
  CHECK(fact(of_birch, "reached_c") == "2 °C");
  CHECK(fact(of_birch, "settle_s") == "5 s");
  CHECK(fact(of_birch, "T1") == "works at 205 °C, standby at 170 °C");
  CHECK(fact(of_birch, "T2 heather") == "works at 215.5 °C, standby at 160 °C");
  const std::string page = start_section(m.summary());
  CHECK(broken_markup(page) == "");
  CHECK(has(page, "<h4>birch</h4>\n<div class=\"facts\">\n"));
  CHECK(has(page, "<dl><dt>approach_c</dt><dd>12.5 °C</dd></dl>"));

  // One that is printed at several temperatures: all of them, each once.
  Made first_layer;
  const std::size_t uses = first_layer.job.uses.size();
  REQUIRE(uses > 1);
  for (std::size_t u = 0; u < 3; ++u) {
    job::ToolUse use = first_layer.job.uses.front();
    use.work_c = u == 1 ? 205 : 210;
    first_layer.job.uses.push_back(use);
  }
  CHECK(fact(heater_facts(first_layer.summary())[0].facts, "T0") ==
        "works at 200, 205, 210 °C, standby at 170 °C");

  // A toolhead that nothing uses, and a job without any.
  for (job::ToolUse& use : m.job.uses) use.head = 0;
  CHECK(heater_facts(m.summary()).size() == 1);
  m.job.uses.clear();
  CHECK(heater_facts(m.summary()).empty());
  CHECK_FALSE(has(start_section(m.summary()), "<h3>Heaters</h3>"));
}

TEST_CASE("an empty job has a check list, too") {
  Sample s;
  s.job = {};
  for (plan::Plan* p : {&s.as_sliced, &s.timers, &s.hold, &s.lookahead}) *p = {};
  const std::string page = start_section(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK_FALSE(has(page, "Load sheet"));
  CHECK(has(page, "Thermal-runaway"));
}

TEST_CASE("hostile names on the check list are text, nothing else") {
  Made m;
  check::Report report;
  for (const std::string& evil : {std::string("</script><b onclick=\"x\">'\"&\x1b\xff"),
                                  std::string("\xe2\x80\xae"
                                              "detrevni \xe2\x81\xa6"),
                                  std::string(10'000, 'w')}) {
    CAPTURE(evil.substr(0, 30));
    m.rules.file = m.rules.machine.name = evil;
    m.rules.settings = {evil};
    m.job.heads[0].name = evil;
    m.rules.filaments.back().name = evil;
    report.findings.add(check::Id::line_lost, 3, evil);
    Summary summary = m.summary();
    summary.checked = &report;
    const std::string page = start_section(summary) + check_section(summary);
    CHECK(broken_markup(page) == "");
    for (const char* raw : {"</script", "<b ", "\x1b", "\xff", "\xe2\x80\xae", "\xe2\x81\xa6"}) {
      CHECK_FALSE(has(page, raw));
    }
    CHECK(page.size() < 80'000);
  }
}

TEST_CASE("the page says that no check ran, and how to run one") {
  const Sample s;
  const std::string page = check_section(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK(has(page, "The check did not run."));
  CHECK(has(page, "forewarm rewrite --check --html PAGE JOB"));
  CHECK_FALSE(Json::parse(json(s.summary())).contains("check"));
}

TEST_CASE("the page says plainly that nothing was found") {
  const Sample s;
  check::Report report;
  report.moves = 12;
  report.inserted = 1;
  Summary summary = s.summary();
  summary.checked = &report;
  CHECK(
      has(check_section(summary),
          "nothing is wrong with it. No findings: 12 extruding moves compared, 1 line inserted, 0 "
          "lines removed; "));
  const Json found = Json::parse(json(summary))["check"];
  CHECK(found == Json{{"findings", Json::array()}, {"explain", Json::object()}, {"left_out", 0}});
}

TEST_CASE("findings are a table, the same as in the JSON") {
  const Sample s;
  check::Report report;
  report.findings.add(check::Id::above_max, 41, "ash: 300 C is above its max_c = 290");
  report.findings.add(check::Id::original_hash, 0, "the first line names <another> original");
  Summary summary = s.summary();
  summary.checked = &report;
  const std::string page = check_section(summary);
  CHECK(broken_markup(page) == "");
  CHECK(has(page, "<strong>Do not print it.</strong> The rewritten job has 2 findings: "));
  // So that nobody loads filament first.
  const std::string whole = html(summary, Picture{});
  const std::size_t warned = whole.find(
      "<strong>Do not print it.</strong> The rewritten job has 2 "
      "findings, which the section Check lists.</p>");
  CHECK(warned < whole.find("<h2>"));
  summary.checked = nullptr;
  CHECK_FALSE(has(html(summary, Picture{}), "Do not print it."));
  summary.checked = &report;
  CHECK(has(page,
            "<tr><td class=\"t\">41</td><th scope=\"row\">above-max</th><td class=\"t\">ash: 300 "
            "C is above its max_c = 290</td></tr>\n<tr><td class=\"t\"></td><th "
            "scope=\"row\">original-hash</th><td class=\"t\">the first line names "
            "&lt;another&gt; original</td></tr>"));
  CHECK(has(page, "<li>above-max: A target is above the toolhead&#39;s max_c.</li>"));
  const Json found = Json::parse(json(summary))["check"];
  REQUIRE(found["findings"].size() == 2);
  CHECK(found["findings"][0] == Json{{"id", "above-max"},
                                     {"line", 41},
                                     {"message", "ash: 300 C is above its max_c = 290"}});
  CHECK(found["explain"].size() == 2);

  for (std::uint64_t i = 0; i <= check::Findings::kMaxOfOne; ++i) {
    report.findings.add(check::Id::line_lost, i, "gone");
  }
  CHECK(has(check_section(summary), "<p class=\"note\">And 1 more of the same kinds. Lines are "));
  CHECK(check_table(report).rows.size() == 2 + check::Findings::kMaxOfOne);
}
