#include "report/assignment.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace forewarm;

namespace {

using assign::Problem;

const std::string kHead = R"(posts.gcode
  on bench machine
  rules: bench.toml, 0123456789abcdef

               toolhead changes filament changes    exchanging   all changes)";

// Ash with T0, birch with T1 and T2, whose filaments alternate.
struct Sample {
  rules::Rules rules;
  Problem problem;

  Sample() {
    rules.machine.name = "bench machine";
    rules.file = "bench.toml";
    rules.hash = 0x123456789abcdef;
    const std::string names[] = {"granite", "moss green", "lake blue"};
    for (int t = 0; t < 3; ++t) {
      rules::Filament f;
      f.tool = t;
      f.name = names[t];
      f.material = t == 2 ? "PETG" : "PLA";
      rules.filaments.push_back(f);
      problem.filaments.push_back({t, f.name, {0, 1, 2}, 0});
    }
    problem.heads = {{"ash", {0}, 6, 4, 30, 0}, {"birch", {1, 2}, 6, 4, 30.25, 0}};
    problem.sequence = {0, 1, 2, 1, 2, 1, 2};
  }

  [[nodiscard]] assign::Assignment answer() const {
    auto a = assign::solve(problem);
    if (!a) FAIL(render(a.error()));
    return *a;
  }
  [[nodiscard]] std::string text(const rules::Matrix* matrix = nullptr) const {
    const assign::Assignment a = answer();
    return report::assignment_text({"posts.gcode", rules, problem, a, matrix, 200});
  }
  [[nodiscard]] std::string json(const rules::Matrix* matrix = nullptr) const {
    const assign::Assignment a = answer();
    return report::assignment_json({"posts.gcode", rules, problem, a, matrix, 200});
  }
};

}  // namespace

TEST_CASE("an assignment in words") {
  CHECK(Sample().text() == kHead + R"(
as it is                      1                5    2 min 31 s    2 min 45 s
best                          5                1        30.2 s    1 min 24 s

Proved: no assignment that the rules allow takes less than 1 min 24 s.
2 filaments to move: 0=2,2=0

load   toolhead         material         filament
T0     ash              PETG             lake blue                from T2
T1     birch            PLA              moss green               stays
T2     birch            PLA              granite                  from T0
)");
}

TEST_CASE("an assignment by purge in words") {
  Sample s;
  s.problem.by = Problem::By::purge;
  SECTION("nothing is known") {
    CHECK(s.text() == kHead + R"(
as it is                      1                5    2 min 31 s    2 min 45 s
best                          6                1        30.2 s    1 min 34 s

Proved: no assignment that the rules allow takes less than 1 exchange.
No toolhead has exchange_purge_mm3, and there is no matrix: all exchanges count the same.
2 filaments to move: 0=1,1=0

load   toolhead         material         filament
T0     ash              PLA              moss green               from T1
T1     birch            PLA              granite                  from T0
T2     birch            PETG             lake blue                stays
)");
  }
  SECTION("a matrix in grams") {
    s.problem.pairs = {0, 1, 1, 1, 0, 0.5, 1, 0.25, 0};
    rules::Matrix matrix;
    matrix.unit = rules::Matrix::Unit::g;
    CHECK(s.text(&matrix) == kHead + R"(         purge
as it is                      1                5    2 min 31 s    2 min 45 s         2.0 g
best                          6                1        30.2 s    1 min 34 s         1.0 g

Proved: no assignment that the rules allow takes less than 1.0 g.
2 filaments to move: 0=1,1=0

load   toolhead         material         filament
T0     ash              PLA              moss green               from T1
T1     birch            PLA              granite                  from T0
T2     birch            PETG             lake blue                stays
)");
  }
}

TEST_CASE("an assignment that is not proved, not allowed or not needed, in words") {
  Sample s;
  SECTION("not proved") {
    s.problem.most_by_subsets = 0;
    s.problem.most_steps = 0;
    CHECK(s.text() == kHead + R"(
as it is                      1                5    2 min 31 s    2 min 45 s
best found                    1                5    2 min 31 s    2 min 45 s

Not proved: this takes 2 min 45 s; no assignment takes less than 1 min 04 s.
Every filament stays where it is.

load   toolhead         material         filament
T0     ash              PLA              granite                  stays
T1     birch            PLA              moss green               stays
T2     birch            PETG             lake blue                stays
)");
  }
  SECTION("not allowed") {
    s.problem.filaments[2].may = {0};
    CHECK(s.text() == kHead + R"(
as it is                      1                5    2 min 31 s    2 min 45 s
best                          5                1        30.2 s    1 min 24 s

As it is, a filament is where the rules do not allow it.
Proved: no assignment that the rules allow takes less than 1 min 24 s.
2 filaments to move: 0=2,2=0

load   toolhead         material         filament
T0     ash              PETG             lake blue                from T2
T1     birch            PLA              moss green               stays
T2     birch            PLA              granite                  from T0
)");
  }
  SECTION("not needed") {
    s.problem.sequence = {0, 1, 0, 1};
    CHECK(s.text() == kHead + R"(
as it is                      3                0           0 s        34.0 s
best                          3                0           0 s        34.0 s

Proved: no assignment that the rules allow takes less than 34.0 s.
Every filament stays where it is.

load   toolhead         material         filament
T0     ash              PLA              granite                  stays
T1     birch            PLA              moss green               stays
T2     birch            PETG             lake blue                stays
)");
  }
  SECTION("no tool") {
    s.problem.filaments.clear();
    s.problem.sequence.clear();
    CHECK(s.text() == R"(posts.gcode
  on bench machine
  rules: bench.toml, 0123456789abcdef
The job selects no tool: there is nothing to assign.
)");
  }
}

TEST_CASE("an assignment as JSON") {
  CHECK(Sample().json() == R"({
  "schema_version": 1,
  "rules": {
    "path": "bench.toml",
    "hash": "0123456789abcdef"
  },
  "by": "time",
  "unit": "s",
  "baseline": {
    "toolhead_changes": 1,
    "filament_changes": 5,
    "exchange_s": 151.25,
    "change_s": 165.25,
    "purge_mm3": null,
    "allowed": true
  },
  "best": {
    "map": {
      "0": 2,
      "1": 1,
      "2": 0
    },
    "toolhead_changes": 5,
    "filament_changes": 1,
    "exchange_s": 30.25,
    "change_s": 84.25,
    "purge_mm3": null,
    "moved": 2,
    "optimal": true,
    "cost": 84.25,
    "lower_bound": 84.25
  },
  "filaments": [
    {
      "tool": 0,
      "toolhead": "ash",
      "from": 2,
      "name": "lake blue",
      "material": "PETG"
    },
    {
      "tool": 1,
      "toolhead": "birch",
      "from": 1,
      "name": "moss green",
      "material": "PLA"
    },
    {
      "tool": 2,
      "toolhead": "birch",
      "from": 0,
      "name": "granite",
      "material": "PLA"
    }
  ]
}
)");
}

TEST_CASE("the unit is in the JSON's keys") {
  Sample s;
  s.problem.by = Problem::By::purge;
  rules::Matrix matrix;
  matrix.unit = rules::Matrix::Unit::g;
  const auto counted = nlohmann::json::parse(s.json());
  CHECK(counted["by"] == "purge");
  CHECK(counted["unit"] == "exchanges");
  CHECK(counted["best"]["cost"] == 1);
  CHECK(counted["best"]["purge_mm3"].is_null());
  s.problem.pairs = {0, 1, 1, 1, 0, 0.5, 1, 0.25, 0};
  const auto grams = nlohmann::json::parse(s.json(&matrix));
  CHECK(grams["unit"] == "g");
  CHECK(grams["best"]["cost"] == grams["best"]["purge_g"]);
  matrix.unit = rules::Matrix::Unit::mm3;
  CHECK(nlohmann::json::parse(s.json(&matrix))["unit"] == "mm3");
}

TEST_CASE("names of all kinds reach no terminal raw") {
  Sample s;
  s.rules.machine.name = "bench\x1b[1m";
  s.rules.filaments[0].name = "gra\tnite\x7f\xc2\x9b";
  s.rules.filaments[1].material = "\xff\x1b";
  s.problem.heads[0].name = "a\x1bsh\n";
  for (const std::string& out : {s.text(), s.json()}) {
    for (const char c : out) CHECK((static_cast<unsigned char>(c) >= 0x20 || c == '\n'));
    CHECK(out.find('\x7f') == std::string::npos);
    CHECK(out.find("\xc2\x9b") == std::string::npos);
    CHECK(out.find('\xff') == std::string::npos);
  }
}
