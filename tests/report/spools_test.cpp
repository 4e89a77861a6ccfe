// The load sheet: what is needed of each filament, what is there, and what lies where.
#include "report/spools.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "base/bytes.h"
#include "help/jobs.h"
#include "job/scan.h"
#include "plan/plan.h"
#include "report/report.h"
#include "sample.h"

using namespace forewarm;
using Json = nlohmann::ordered_json;

namespace {

// T0 in ash; T1, T2, T1 in birch, which has a feeder; two layers.
const std::string kJob =
    "M104 T0 S200\nM104 T1 S200\nT0\nM83\nG1 Z0.2 F600\nM109 T0 S200\nG1 X50 E3\nT1\n"
    "M109 T1 S200\nG1 X0 E20\nG1 E-2\nT2\nM109 T2 S200\nG1 X50 E30\nT0\nM109 T0 S200\n"
    "G1 Z0.4\nG1 X0 E4\nG1 X50 E4\nT1\nM109 T1 S200\nG1 E2\nG1 X0 E5\n";

struct Made {
  rules::Rules rules;
  job::Job job;
  plan::Plan plan;
  std::vector<job::SpoolEnd> ends;
  std::optional<report::Schedule> schedule = {};

  [[nodiscard]] report::Summary summary() const {
    return {"posts.gcode", job, rules, plan, plan, plan, plan, schedule, 100, ends};
  }
};

Made made(const std::string& more, const std::string& text = kJob) {
  Made out;
  std::string toml = test::kTwoHeads;
  // Into the [[filament]] of T2, which is the last table.
  out.rules = test::rules_of(toml + "name = \"heather\"\nmaterial = \"PLA\"\n" + more);
  out.job = test::scan_of(text, out.rules);
  auto plan = plan::make(out.job, out.rules, rules::Policy::lookahead);
  REQUIRE(plan.ok());
  out.plan = std::move(*plan);
  const auto watched = report::short_spools(out.job, out.plan, out.rules);
  if (!watched.usable_mm.empty()) {
    TextSource source(text);
    job::ScanOptions options;
    options.spools = &watched;
    auto again = job::scan(source, out.rules, options);
    REQUIRE(again.ok());
    out.ends = again->spool_ends;
  }
  return out;
}

// pi/4 d^2 L rho: a cylinder.
double grams(double mm, double density_g_cm3 = 1.24, double diameter_mm = 1.75) {
  return M_PI / 4 * diameter_mm * diameter_mm * mm / 1000 * density_g_cm3;
}

}  // namespace

TEST_CASE("a kilometre of filament weighs what its cylinder does") {
  // From memory: 1 kg of PLA of 1.75 mm is about 330 m, at 1.24 g/cm3.
  CHECK(grams(330'000) == Approx(1000).epsilon(0.02));
  const Made m = made("density_g_cm3 = 1.27\ndiameter_mm = 2.85\n");
  const auto all = report::loads(m.summary());
  REQUIRE(all.size() == 3);
  CHECK(all[0].needed_g == Approx(grams(11)));
  CHECK(all[1].needed_g == Approx(grams(25)));
  CHECK(all[2].needed_g == Approx(grams(30, 1.27, 2.85)));
  CHECK(all[2].part_g == Approx(grams(30, 1.27, 2.85)));
}

TEST_CASE("rows say what lies where at the start and at the end") {
  const Made m = made("");
  const auto all = report::loads(m.summary());
  REQUIRE(all.size() == 3);
  struct Case {
    int tool;
    std::size_t head;
    bool at_start, at_end;
  };
  for (const Case& c : {Case{0, 0, true, true}, Case{1, 1, true, true}, Case{2, 1, false, false}}) {
    const report::Load& l = all[std::size_t(c.tool)];
    CAPTURE(c.tool);
    CHECK(l.tool == c.tool);
    CHECK(l.head == c.head);
    CHECK(l.at_start == c.at_start);
    CHECK(l.at_end == c.at_end);
    CHECK_FALSE(l.spool_g);
    CHECK(l.enough());
  }
  CHECK(report::load_words(m.summary()) ==
        std::vector<std::string>{
            "ash: T0 is in it from start to end.",
            "birch, with a feeder: T1 must be in it when the job starts, and T2 (heather) ready "
            "in the feeder; T1 is in it at the end, too."});
  const Made one = made("", kJob.substr(0, kJob.rfind("T1\n")));
  CHECK(report::load_words(one.summary())[1] ==
        "birch, with a feeder: T1 must be in it when the job starts, and T2 (heather) ready in the "
        "feeder; T2 (heather) is in it at the end.");
  CHECK(report::spool_table(m.summary()).rows.empty());
}

TEST_CASE("a spool is enough, or says where it is not") {
  const double need_g = grams(30);
  const auto with = [&](double spool_g, double margin) {
    return made("spool_g = " + std::to_string(spool_g) +
                "\nspool_margin = " + std::to_string(margin) + "\n");
  };
  CHECK(report::loads(with(need_g + 1e-5, 0).summary())[2].enough());
  CHECK_FALSE(report::loads(with(need_g - 1e-5, 0).summary())[2].enough());
  CHECK_FALSE(report::loads(with(need_g * 1.05, 0.05).summary())[2].enough());
  CHECK(report::loads(with(need_g / 0.95 + 1e-5, 0.05).summary())[2].enough());
  const Made m = with(0.5 * need_g, 0);
  const report::Load l = report::loads(m.summary())[2];
  REQUIRE(l.runs_out);
  CHECK(l.runs_out->line == 14);
  CHECK(l.runs_out->layer == 1);
  REQUIRE(l.runs_out->change);
  CHECK(*l.runs_out->change == 2);
  // After its change, and the wait for its heater; before the next change.
  CHECK(l.runs_out->at_s > m.plan.change_at_s[2] + m.job.tool_changes[2].exchange_s - 0.01);
  CHECK(l.runs_out->at_s < m.plan.change_at_s[3]);
  const auto warnings = report::spool_warnings(m.job, m.plan, m.rules, m.ends);
  REQUIRE(warnings.size() == 1);
  CHECK(warnings[0].starts_with("the spool of T2 (heather) runs out after 0:0"));
  CHECK(warnings[0].find(": layer 1, line 14, after the change to T2 in line 12; it needs 0.089 g, "
                         "and 0.045 g of 0.045 g can be used") != std::string::npos);
}

TEST_CASE("JSON has a row for each tool, with null where nothing is known") {
  const Json known = Json::parse(report::json(made("spool_g = 0.05\n").summary()))["load"];
  REQUIRE(known.size() == 3);
  std::string keys;
  for (const auto& [key, value] : known[0].items()) keys += key + ' ';
  CHECK(keys ==
        "tool toolhead filament material needed_g spool_g enough runs_out_s runs_out_layer "
        "runs_out_line runs_out runs_out_after at_start at_end part_g purge_g exchange_purge_g "
        "sequence_purge_g priming_g ");
  CHECK(known[0]["toolhead"] == "ash");
  CHECK(known[0]["filament"] == "T0");
  for (const char* key : {"material", "spool_g", "enough", "runs_out_s", "runs_out_line"}) {
    CHECK(known[0][key].is_null());
  }
  CHECK(known[2]["material"] == "PLA");
  CHECK(known[2]["enough"] == false);
  CHECK(known[2]["runs_out_line"] == 14);
  CHECK(known[2]["runs_out_after"] == 12);
  CHECK(known[2]["runs_out"].is_null());
  const Json enough = Json::parse(report::json(made("spool_g = 50\n").summary()))["load"];
  CHECK(enough[2]["enough"] == true);
  CHECK(enough[2]["runs_out_s"].is_null());
}

TEST_CASE("with a start, a spool ends at a time of the clock") {
  Made m = made("spool_g = 0.05\n");
  m.schedule.emplace();
  m.schedule->start = *report::parse_start("2027-03-05T18:00");
  const Json load = Json::parse(report::json(m.summary()))["load"];
  CHECK(load[2]["runs_out"].get<std::string>().starts_with("2027-03-05T18:0"));
  const std::string sheet = report::sheet_text(m.summary());
  CHECK(sheet.find("from 2027-03-05 18:00 to 2027-03-05 18:") != std::string::npos);
  CHECK(sheet.find("2027-03-05 18:0") != std::string::npos);
}

TEST_CASE("the sheet, the forecast and the page show the same") {
  const Made m = made("spool_g = 0.05\n");
  const std::string sheet = report::sheet_text(m.summary());
  for (const char* part : {"posts.gcode\n", "load  toolhead", "T2    birch      heather        PLA",
                           "runs out in layer 1, line 14, after the change to T2 in line 12\n",
                           "birch, with a feeder: T1 must be in it when the job starts"}) {
    CAPTURE(part, sheet);
    CHECK(sheet.find(part) != std::string::npos);
  }
  const std::string text = report::text(m.summary());
  CHECK(text.find("spools") != std::string::npos);
  CHECK(text.find("layer 1, line 14, after the change to T2 in line 12") != std::string::npos);
  const std::string page = report::page_of(m.summary());
  CHECK(page.find("<h3>Load sheet</h3>") != std::string::npos);
  CHECK(page.find("layer 1, line 14, after the change to T2 in line 12") != std::string::npos);
  CHECK(page.find("<li>ash: T0 is in it from start to end.</li>") != std::string::npos);
  // Without a spool_g, only the sheet.
  const Made none = made("");
  CHECK(report::text(none.summary()).find("spools") == std::string::npos);
  CHECK(report::page_of(none.summary()).find("<h3>Load sheet</h3>") != std::string::npos);
}

TEST_CASE("the sheet ends with the pauses of the job") {
  Made m = made("");
  CHECK(report::sheet_text(m.summary()).find("pauses") == std::string::npos);
  job::Pause pause;
  pause.line = 14;
  pause.layer = 1;
  pause.text = "M600";
  m.job.pauses = {pause};
  m.plan.pause_at_s = {62};
  const std::string sheet = report::sheet_text(m.summary());
  CHECK(sheet.substr(sheet.find("\npauses")) ==
        "\npauses                 line   layer  text\n"
        "0:01:02                  14       1  M600\n");
}
