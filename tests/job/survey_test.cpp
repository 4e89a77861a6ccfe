// What a job shows of its machine, without a rule file that fits it.
#include "job/survey.h"

#include <catch2/catch.hpp>

#include "help/jobs.h"
#include "rules/load.h"

using namespace forewarm;

namespace {

job::Survey survey(const std::string& text) {
  const auto rules = rules::built_in();
  REQUIRE(rules);
  TextSource source(text);
  auto out = job::survey(source, *rules, "job.gcode");
  if (!out) FAIL(render(out.error()));
  return *out;
}

}  // namespace

TEST_CASE("survey: tools with their selects, temperatures and names") {
  const auto s = survey(
      "; colour 0 is granite, toolhead ash\n; colour 1 is moss green; toolhead birch\n"
      "; colour 9 is unused\nM83\nM104 T0 S200\nM109 T1 S210\nT0\nG1 X1 E1 F600\nM104 S215\n"
      "G1 X2 E1\nT1\nG1 X3 E1\nM104 T0 S0\nM104 T5 S150\nT0\n");
  REQUIRE(s.tools.size() == 3);
  CHECK(s.tools.at(0).selects == 2);
  CHECK(s.tools.at(0).line == 5);
  CHECK(s.tools.at(0).low_c == 200);
  CHECK(s.tools.at(0).high_c == 215);
  CHECK(s.tools.at(0).name == "granite");
  CHECK(s.tools.at(0).toolhead == "ash");
  CHECK(s.tools.at(1).name == "moss green");
  CHECK(s.tools.at(1).name_line == 2);
  CHECK(s.tools.at(1).toolhead == "birch");
  CHECK(s.tools.at(5).selects == 0);
  CHECK_FALSE(s.tools.at(5).low_c);
  CHECK(s.tools.at(5).highest_c == 150);
  CHECK(s.waited == 1);
}

TEST_CASE("survey: comments that name tools twice, or few of them, name none") {
  for (const char* head : {"; colour 0 is granite\n; colour 0 is moss\n", "; width 0 = 0.4\n",
                           "; layer 0 = same\n; layer 1 = same\n"}) {
    CAPTURE(head);
    const auto s = survey(std::string(head) + "M83\nT0\nM109 S200\nG1 X1 E1\nT1\nT2\n");
    CHECK(s.tools.at(0).name.empty());
  }
}

TEST_CASE("survey: limits count as they are where printing starts") {
  const auto s =
      survey("M203 X100 Y100\nM204 P900\nM201 X700\nM83\nT0\nG1 X1 E1 F600\nM204 P50\nM205 X3\n");
  CHECK(s.limits.max_speed[0] == 100);
  CHECK(s.limits.accel_print == 900);
  CHECK(s.limits.max_accel[0] == 700);
  CHECK(s.limit_lines == std::map<int, std::uint64_t>{{201, 3}, {203, 1}, {204, 2}});
}

TEST_CASE("survey: comments that count layers, and those that stand by turns") {
  std::string job = "M83\nT0\nM109 S200\n";
  for (int i = 0; i < 5; ++i) {
    job += "; level " + std::to_string(i) + " of 5\nG1 Z" + std::to_string(i + 1) +
           "\n; PURGE START\nG1 X1 E1\n; PURGE STOP\n; feature 7\nG1 X2 E1\n";
  }
  const auto s = survey(job);
  CHECK(s.layers == 5);
  REQUIRE(s.layer);
  CHECK(s.layer->shape == "; level # of #");
  REQUIRE(s.purge);
  CHECK(s.purge->begin.shape == "; PURGE START");
  CHECK(s.purge->end.shape == "; PURGE STOP");
  CHECK(s.purge->end.count == 5);
  CHECK_FALSE(survey("M83\nT0\nG1 X1 E1\n; part begins\n; note 1\n").purge);
}

TEST_CASE("survey: where it extrudes right after selects") {
  std::string job = "M83\nT0\nM109 S200\nG1 X10 Y10 E1 F600\nG1 X200 Y200 E9\n";
  std::string without = job;
  for (int i = 0; i < 6; ++i) {
    job += "T" + std::to_string((i + 1) % 2) +
           "\nG0 X300 Y5\nG1 X310 Y8 E5\nG0 X50 Y50\nG1 X80 Y90 E3\n";
    without += "T" + std::to_string((i + 1) % 2) + "\nG0 X50 Y50\nG1 X180 Y190 E3\nG0 X0 Y0\n";
  }
  const auto s = survey(job);
  REQUIRE(s.purge_area_mm);
  CHECK(*s.purge_area_mm == std::array<double, 4>{309, 311, 7, 9});
  // The model itself is none: here each part ends at the same place, but begins all over.
  CHECK(survey(job.substr(0, job.find("T1"))).purge_area_mm == std::nullopt);
}

TEST_CASE("survey: a job that no rule file would take is read to its end") {
  const auto s = survey("T300\nM104 T300 S9999\nM109 R\nG1 E5\n*\nG28*99\nN5 G1 X\n\xff\xfe\n");
  CHECK(s.lines == 8);
  CHECK(s.tools.contains(300));
  CHECK(survey("").lines == 0);
}

TEST_CASE("survey: what is no text is refused, as the scan does") {
  const auto rules = rules::built_in();
  REQUIRE(rules);
  const std::string text("T0\nG1\0X\n", 8);
  TextSource source(text);
  const auto out = job::survey(source, *rules, "job.gcode");
  REQUIRE_FALSE(out);
  CHECK(out.error().kind == Error::Kind::refused);
  CHECK(render(out.error()).starts_with("job.gcode:2:3: the job is not text: it has a NUL byte\n"));
}
