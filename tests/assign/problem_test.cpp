#include "assign/problem.h"

#include <catch2/catch.hpp>
#include <fstream>

#include "help/jobs.h"

using namespace forewarm;
using namespace forewarm::test;
using assign::Problem;

namespace {

Problem problem(const std::string& text, const std::string& rules = kTwoHeads) {
  const auto r = rules_of(rules);
  auto q = assign::problem_of(scan_of(text, r), r, Problem::By::time);
  if (!q) FAIL(render(q.error()));
  return *q;
}

// "T0 012, T2 012: 0 1 put 0": filaments and where they may be, then the uses.
std::string text_of(const Problem& q) {
  std::string out;
  for (const auto& f : q.filaments) {
    out += (out.empty() ? "T" : ", T") + std::to_string(f.tool) + ' ';
    for (const int t : f.may) out += std::to_string(t);
  }
  out += q.first_is_mounted ? ": mounted" : ":";
  for (const int f : q.sequence) {
    out += f == Problem::kPutAway ? " put" : ' ' + std::to_string(f);
  }
  return out;
}

}  // namespace

TEST_CASE("every select counts") {
  CHECK(text_of(problem("T0\nT2\nT2\nG1 X1 E1\nT0\nT-1\nT2\n")) == "T0 012, T2 012: 0 1 1 0 put 1");
  CHECK(text_of(problem("G1 X1\n")) == ":");
  CHECK(text_of(problem("G1 X1 E1\n")) == "T0 0: mounted 0");
}

TEST_CASE("a tool that is used before any select stays") {
  CHECK(text_of(problem("G1 X1 E1\nT1\nG1 X2 E1\nT0\n")) == "T0 0, T1 012: mounted 0 1 0");
}

TEST_CASE("where the rules let filaments be") {
  const std::string rules = std::string(kTwoHeads) + "only = [\"birch\"]\n";  // of T2
  CHECK(text_of(problem("T0\nT2\n", rules)) == "T0 012, T2 12: 0 1");
  CHECK(text_of(problem("T0\nT2\n", std::string(kTwoHeads) + "never = [1]\n")) ==
        "T0 012, T2 02: 0 1");
  CHECK(text_of(problem("T0\nT2\n", std::string(kTwoHeads) + "fixed = true\n")) ==
        "T0 012, T2 2: 0 1");
  // The job does not use it, but it is there.
  const Problem q = problem("T0\nT1\n", std::string(kTwoHeads) + "fixed = true\n");
  CHECK(text_of(q) == "T0 01, T1 01: 0 1");
  CHECK(q.file == "test.toml");
  CHECK(problem("T2\n", rules).filaments[0].line > 0);
  CHECK(problem("T0\n", rules).filaments[0].line == 0);
}

TEST_CASE("the baseline is what the job's own changes take") {
  const auto rules = rules_of(kTwoHeads);
  for (const char* text : {"T0\nT1\nT2\nT1\nT-1\nT1\nT0\nT0\nT2\n", "T1\nT1\nT-1\nT-1\nT2\n",
                           "G1 X1 E1\nT2\nT1\nT0\nT1\n", "T-1\nT2\nT0\nT-1\n"}) {
    INFO(text);
    const auto job = scan_of(text, rules);
    const auto q = assign::problem_of(job, rules, Problem::By::time);
    REQUIRE(q);
    std::vector<int> now;
    for (const auto& f : q->filaments) now.push_back(f.tool);
    const auto figures = assign::figures_of(*q, now);
    double change_s = 0, exchange_s = 0;
    for (const job::ToolChange& s : job.tool_changes) {
      change_s += s.park_s + s.pick_s + s.exchange_s;
      exchange_s += s.exchange_s;
    }
    CHECK(figures.change_s == Approx(change_s));
    CHECK(figures.exchange_s == Approx(exchange_s));
    CHECK(figures.toolhead_changes ==
          job.count(job::ChangeKind::toolhead) + job.count(job::ChangeKind::both));
    CHECK(figures.filament_changes ==
          job.count(job::ChangeKind::filament) + job.count(job::ChangeKind::both));
  }
}

TEST_CASE("the demo job: the baseline is the scan's, and the best is no worse") {
  const std::string source = FOREWARM_SOURCE_DIR;
  const auto read = [&](const std::string& name) {
    std::ifstream in(source + name, std::ios::binary);
    REQUIRE(in);
    return std::string(std::istreambuf_iterator<char>(in), {});
  };
  const auto rules = rules_of(read("/config/demo.toml"));
  const auto job = scan_of(read("/fixtures/trail_map.gcode"), rules);
  const auto q = assign::problem_of(job, rules, Problem::By::time);
  REQUIRE(q);
  const auto a = assign::solve(*q);
  REQUIRE(a);
  CHECK(a->optimal);
  CHECK(a->baseline.toolhead_changes ==
        job.count(job::ChangeKind::toolhead) + job.count(job::ChangeKind::both));
  CHECK(a->baseline.filament_changes ==
        job.count(job::ChangeKind::filament) + job.count(job::ChangeKind::both));
  CHECK(a->best.change_s <= a->baseline.change_s);
}

TEST_CASE("a matrix has to say all pairs of the job's filaments") {
  const auto rules = rules_of(kTwoHeads);
  const auto job = scan_of("T0\nT2\n", rules);
  const auto ask = [&](const std::string& csv) -> std::string {
    const auto matrix = rules::load_matrix(csv, "m.csv", rules);
    if (!matrix) FAIL(render(matrix.error()));
    const auto q = assign::problem_of(job, rules, Problem::By::purge, &*matrix);
    if (!q) return render(q.error());
    std::string out;
    for (const double p : q->pairs) out += std::to_string(int(p)) + ' ';
    return out;
  };
  CHECK(ask("g,T2,T1,T0\nT0,5,6,\nT2,,7,8\n") == "0 5 8 0 ");
  CHECK(ask("\ng,T2,T0\nT0,5,\n") ==
        "m.csv:2: the matrix has no row for T2 (\"T2\"), which the job uses");
  CHECK(ask("g,T2\nT0,5\nT2,\n") ==
        "m.csv:1: the matrix has no column for T0 (\"T0\"), which the job uses");
}

TEST_CASE("what a map breaks") {
  const std::string all = "T0\nG1 X1 E1\nT2\nG1 X2 E1\n";
  // More is of T2.
  const auto broken = [](const std::string& text, const std::string& more,
                         const std::map<int, int>& map) {
    const auto rules = rules_of(std::string(kTwoHeads) + more);
    std::string out;
    for (const auto& b : assign::broken_places(scan_of(text, rules), rules, map)) {
      out += (out.empty() ? "" : ", ") + b.filament.name + " " + b.key + " " + std::to_string(b.to);
      if (b.other) out += " by T" + std::to_string(*b.other);
    }
    return out;
  };
  CHECK(broken(all, "only = [\"birch\"]\n", {{0, 2}, {2, 0}}) == "T2 only 0");
  CHECK(broken(all, "only = [\"birch\"]\n", {{2, 1}}) == "");
  CHECK(broken(all, "only = [2]\n", {{2, 1}}) == "T2 only 1");
  CHECK(broken(all, "never = [\"ash\"]\n", {{2, 0}, {0, 2}}) == "T2 never 0");
  CHECK(broken(all, "never = [1]\n", {{2, 1}}) == "T2 never 1");
  CHECK(broken(all, "fixed = true\n", {{2, 1}}) == "T2 fixed 1");
  CHECK(broken(all, "fixed = true\n", {{0, 1}}) == "");
  CHECK(broken(all, "fixed = true\n", {{2, 2}, {0, 0}}) == "");
  // Not used: its rules do not count, but that it is there does.
  CHECK(broken("T0\n", "never = [1]\n", {{2, 1}}) == "");
  CHECK(broken("T0\n", "fixed = true\n", {{0, 2}}) == "T2 fixed 2 by T0");
  CHECK(broken("T0\n", "fixed = true\n", {{0, 2}, {2, 0}}) == "T2 fixed 2 by T0");
  // A place that no toolhead serves is refused elsewhere.
  CHECK(broken(all, "never = [1]\n", {{2, 9}}) == "");
}

TEST_CASE("more filaments than a set holds") {
  std::string rules =
      "version = 1\n[[toolhead]]\nname = \"t\"\ntools = \"seen\"\nheater = { power_w = 50, "
      "full_drive_c = 450, time_constant_s = 180 }\n";
  std::string text;
  for (int t = 0; t < 65; ++t) text += "T" + std::to_string(t) + "\n";
  const auto r = rules_of(rules);
  const auto q = assign::problem_of(scan_of(text, r), r, Problem::By::time);
  REQUIRE_FALSE(q.ok());
  CHECK(render(q.error()) ==
        "job.gcode: the job uses 65 filaments; no more than 64 can be assigned");
}
