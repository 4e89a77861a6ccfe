// What a check found, as text and as JSON: whole, so that no change of either goes unseen.
#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "report/findings.h"

using namespace forewarm;
using check::Id;

namespace {

// Of a trail map whose woods were changed by hand.
check::Report sample() {
  check::Report report;
  report.has_header = true;
  report.moves = 46;
  report.inserted = 11;
  report.disabled = 1;
  report.lines = 73;
  report.duration_s = 648;
  report.wait_s = 122.4;
  report.findings.add(Id::original_hash, 0, "the first line names another original");
  report.findings.add(Id::above_max, 41, "ash: 300 C is above its max_c = 290");
  report.findings.add(Id::above_max, 58, "birch: 300 C is above its max_c = 290");
  return report;
}

rules::Rules by() {
  rules::Rules rules;
  rules.file = "bench.toml";
  rules.hash = 0x123456789abcdef;
  return rules;
}
const std::string kBy = "rules: bench.toml, 0123456789abcdef\n";

std::string text_of(const check::Report& report, const std::string& name = "map.gcode") {
  return report::findings_text(report, name, by());
}
std::string json_of(const check::Report& report) { return report::findings_json(report, by()); }

}  // namespace

TEST_CASE("findings as text: a line each, what they mean, and a summary") {
  CHECK(text_of(sample()) ==
        "map.gcode: original-hash: the first line names another original\n"
        "map.gcode:41: above-max: ash: 300 C is above its max_c = 290\n"
        "map.gcode:58: above-max: birch: 300 C is above its max_c = 290\n"
        "\n"
        "original-hash: Undoing the marks does not give the bytes that the first line names: the "
        "file was changed after it was rewritten, or belongs to another original.\n"
        "above-max: A target is above the toolhead's max_c.\n"
        "\n"
        "3 findings: 46 extruding moves compared, 11 lines inserted, 1 line removed; 10 min "
        "48 s, 2 min 02 s of it waiting\n" +
            kBy);
}

TEST_CASE("findings as text: one, and none") {
  check::Report report;
  report.moves = report.inserted = 1;
  CHECK(text_of(report) ==
        "no findings: 1 extruding move compared, 1 line inserted, 0 lines removed; 0 s, "
        "0 s of it waiting\n" +
            kBy);
  report.findings.add(Id::above_max, 3, "too hot");
  CHECK(text_of(report) ==
        "map.gcode:3: above-max: too hot\n"
        "\n"
        "above-max: A target is above the toolhead's max_c.\n"
        "\n"
        "1 finding: 1 extruding move compared, 1 line inserted, 0 lines removed; 0 s, "
        "0 s of it waiting\n" +
            kBy);
}

TEST_CASE("findings as JSON") {
  CHECK(json_of(sample()) == R"({
  "schema_version": 1,
  "rules": {
    "path": "bench.toml",
    "hash": "0123456789abcdef"
  },
  "findings": [
    {
      "id": "original-hash",
      "line": 0,
      "message": "the first line names another original"
    },
    {
      "id": "above-max",
      "line": 41,
      "message": "ash: 300 C is above its max_c = 290"
    },
    {
      "id": "above-max",
      "line": 58,
      "message": "birch: 300 C is above its max_c = 290"
    }
  ],
  "explain": {
    "original-hash": "Undoing the marks does not give the bytes that the first line names: the file was changed after it was rewritten, or belongs to another original.",
    "above-max": "A target is above the toolhead's max_c."
  },
  "left_out": 0
}
)");
  CHECK(json_of({}) == R"({
  "schema_version": 1,
  "rules": {
    "path": "bench.toml",
    "hash": "0123456789abcdef"
  },
  "findings": [],
  "explain": {},
  "left_out": 0
}
)");
}

TEST_CASE("findings that were left out are counted in both") {
  check::Report report;
  for (std::uint64_t i = 1; i <= check::Findings::kMaxOfOne + 20; ++i) {
    report.findings.add(Id::move_lost, i, "lost");
  }
  const std::string text = text_of(report);
  CHECK(text.find("map.gcode:1000: move-lost: lost\n"
                  "... and 20 more of the same kinds\n"
                  "\n"
                  "move-lost: A move of the original that extrudes is missing.\n") !=
        std::string::npos);
  CHECK(text.find("\n1020 findings: ") != std::string::npos);
  const auto json = nlohmann::json::parse(json_of(report));
  CHECK(json["findings"].size() == 1000);
  CHECK(json["left_out"] == 20);
}

TEST_CASE("a name with control characters is printable, and bytes that are no UTF-8 are JSON") {
  check::Report report = sample();
  report.findings.add(Id::left_on, 0, "\xff\x1b");
  const std::string text = text_of(report, "map\x1b[31m\n.gcode");
  CHECK(text.starts_with("map?[31m?.gcode: original-hash: "));
  CHECK(text.find("\x1b[31m") == std::string::npos);
  const auto json = nlohmann::json::parse(json_of(report));
  CHECK(json["findings"][3]["message"] == "\xef\xbf\xbd\x1b");
}

TEST_CASE("every explanation at once") {
  const std::string all = report::all_findings_text();
  CHECK(all.starts_with("mark-damaged: A mark by which the rewrite can be undone is missing, "));
  CHECK(std::count(all.begin(), all.end(), '\n') == std::ptrdiff_t(check::kIds));
  for (std::size_t i = 0; i < check::kIds; ++i) {
    CHECK(all.find(std::string(check::name_of(Id(i))) + ": " + std::string(check::explain(Id(i))) +
                   "\n") != std::string::npos);
  }
}
