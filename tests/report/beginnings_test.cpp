// Every report that the program writes into files is known again, and nothing else is.
#include "report/beginnings.h"

#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "help/files.h"
#include "report/assignment.h"
#include "report/compare.h"
#include "report/findings.h"
#include "report/icalendar.h"
#include "report/report.h"
#include "report/variants.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

struct Written {
  Form form;
  std::string what, text;
};

std::vector<Written> every_report() {
  const Sample s;
  const Comparison compared{s.path, s.job, s.rules, {}, {}};
  const Variants variants{s.path, s.job, {variant(s.job, s.rules, s.lookahead)}};
  assign::Problem problem;
  problem.heads = {{"left", {0}, 6, 4, 30, 0}};
  problem.filaments = {{0, "granite", {0}, 0}};
  problem.sequence = {0};
  const auto assigned = assign::solve(problem);
  if (!assigned) FAIL(render(assigned.error()));
  return {{Form::html, "forecast", page_of(s.summary())},
          {Form::json, "forecast", json(s.summary())},
          {Form::csv, "forecast", changes_csv(s.summary())},
          {Form::calendar, "forecast", icalendar({s.path, {}, {}}, 1)},
          {Form::json, "compare", json(compared)},
          {Form::csv, "compare", csv(compared)},
          {Form::json, "compare, of rule files", json(variants)},
          {Form::csv, "compare, of rule files", csv(variants)},
          {Form::json, "assign", assignment_json({s.path, s.rules, problem, *assigned})},
          {Form::json, "check", findings_json({}, s.rules)}};
}

constexpr Form kForms[] = {Form::html, Form::json, Form::csv, Form::calendar};

}  // namespace

TEST_CASE("every report is known by its beginning, as what it is") {
  for (const Written& w : every_report()) {
    for (const Form form : kForms) {
      CAPTURE(w.what, name_of(w.form), name_of(form));
      CHECK(begins_as(form, w.text) == (form == w.form));
      CHECK(begins_as(form, w.text.substr(0, kMaxBeginning)) == (form == w.form));
    }
  }
}

TEST_CASE("reports as the first versions wrote them are known") {
  CHECK(begins_as(Form::json, "{\n  \"schema_version\": 1,\n  \"job\": {\n"));
  CHECK(begins_as(Form::csv, "time_s,clock,kind,toolhead,from_tool,to_tool,from_filament,"));
  CHECK(begins_as(Form::csv, "policy,swept,value,off_over_s,timer_standby_s,timer_off_s,"));
  CHECK(begins_as(Form::html,
                  "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta "
                  "http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
                  "'unsafe-inline'\">\n<meta name=\"viewport\""));
}

TEST_CASE("what others write is no report of ours") {
  std::vector<std::string> others = {
      "",
      "\n",
      " ",
      "{",
      "{}\n",
      "[]\n",
      "{\"schema_version\": 1}\n",
      "{\n  \"name\": \"a profile\",\n  \"schema_version\": 1\n}\n",
      "{\r\n  \"schema_version\": 1,\r\n",
      "\xef\xbb\xbf{\n  \"schema_version\": 1,\n",
      "{\"path\":\"a.gcode\",\"bytes\":81,\"input\":\"0123456789abcdef\"}\n",
      "<!DOCTYPE html>\n",
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta "
      "charset=\"utf-8\">\n<title>Trails</title>",
      "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//someone else//EN\r\n",
      "BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//forewarm//forecast//EN\n",
      "time_s,clock\n0,1\n",
      "policy,price\n",
      "mm3,T1,T2\nT1,,80\n",
      test::get(FOREWARM_SOURCE_DIR "/config/demo.toml"),
      test::get(FOREWARM_SOURCE_DIR "/config/default.toml"),
      test::get(FOREWARM_SOURCE_DIR "/fixtures/single_tool.gcode"),
      test::get(FOREWARM_SOURCE_DIR "/README.md"),
  };
  // A report that was cut short, or has something before it.
  for (const Written& w : every_report()) {
    others.push_back(w.text.substr(0, 10));
    others.push_back("\n" + w.text);
  }
  for (const std::string& other : others) {
    for (const Form form : kForms) {
      CAPTURE(other.substr(0, 60), name_of(form));
      CHECK_FALSE(begins_as(form, other));
    }
  }
}
