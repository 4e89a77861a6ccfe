// What heaters and waits do besides, as `check` asks for it.
#include <catch2/catch.hpp>

#include "check/check.h"
#include "help/jobs.h"
#include "help/rewritten.h"
#include "help/text.h"

using namespace forewarm;
using test::joined;
using test::Lines;
using test::lines_of;

namespace {

rules::Rules rules_with(const std::string& heater, const std::string& dialect = "") {
  std::string toml = test::kTwoHeads;
  const std::string last = "max_c = 290";
  for (std::size_t at = 0; (at = toml.find(last, at)) != std::string::npos; at += last.size()) {
    toml.insert(at + last.size(), heater.empty() ? "" : ", " + heater);
  }
  return test::rules_of(toml + "[dialect]\n" + dialect);
}

const std::string& map_job() {
  static const std::string text = "M83\nM104 T1 S210\nM109 T0 S200\nT0\n" + test::print(60) +
                                  "T1\n" + test::print(400) + "T0\nM104 T0 S200\n" +
                                  test::print(60);
  return text;
}

const char* const kLeast = "wait = \"AWAIT T{tool} S{temp} L{least}\"\nwait_window_c = 5\n";

std::string found(const std::string& rewritten, const rules::Rules& rules) {
  std::string out;
  const check::Report report = test::report_of(&map_job(), rewritten, rules);
  for (const check::Finding& f : report.findings.list()) {
    out += std::string(check::name_of(f.id)) + '\n';
  }
  return out;
}

// With the first line that begins so changed.
std::string changed(const std::string& text, const std::string& start, const std::string& to) {
  Lines lines = lines_of(text);
  for (std::string& line : lines) {
    if (!line.starts_with(start)) continue;
    line.replace(0, start.size(), to);
    return joined(lines);
  }
  FAIL("no line begins with " << start);
  return {};
}

}  // namespace

TEST_CASE("a good rewrite is one whatever heaters and waits do, and restored it is the job") {
  for (const char* heater :
       {"", "settle_s = 9", "approach_c = 30, reached_c = 2", "cool_time_constant_s = 80",
        "cool_time_constant_s = 400, approach_c = 15, reached_c = 0.5, settle_s = 4"}) {
    for (const std::string& dialect :
         {std::string(), std::string("wait_takes_s = 4\n"), std::string(kLeast),
          std::string("wait_takes_s = 4\n") + kLeast}) {
      CAPTURE(heater, dialect);
      const rules::Rules rules = rules_with(heater, dialect);
      const std::string rewritten = test::rewrite_of(map_job(), rules);
      CHECK(found(rewritten, rules).empty());
      CHECK(test::restored(rewritten) == map_job());
    }
  }
}

TEST_CASE("what was planned without settling is told too late for a heater that settles") {
  const std::string rewritten = test::rewrite_of(map_job(), rules_with(""));
  REQUIRE(found(rewritten, rules_with("")).empty());
  CHECK(found(rewritten, rules_with("settle_s = 30")).find("preheat-late") != std::string::npos);
  const std::string settled = test::rewrite_of(map_job(), rules_with("settle_s = 30"));
  CHECK(found(settled, rules_with("")).find("preheat-early") != std::string::npos);
}

TEST_CASE("what was planned for full drive to the end is told too late for a soft heater") {
  const std::string rewritten = test::rewrite_of(map_job(), rules_with(""));
  const rules::Rules soft = rules_with("approach_c = 40, reached_c = 0.5");
  CHECK(found(rewritten, soft).find("preheat-late") != std::string::npos);
}

TEST_CASE("waits that take a while are part of the clock") {
  const rules::Rules rules = rules_with("", "wait_takes_s = 4\n");
  const std::string rewritten = test::rewrite_of(map_job(), rules);
  const double taking = test::report_of(&map_job(), rewritten, rules).wait_s;
  const double plain = test::report_of(&map_job(), rewritten, rules_with("")).wait_s;
  CHECK(taking - plain == Approx(8).margin(0.5));
}

TEST_CASE("a wait for a minimum is known by the dialect, and its minimum has to be right") {
  const rules::Rules rules = rules_with("settle_s = 9", kLeast);
  const std::string rewritten = test::rewrite_of(map_job(), rules);
  const auto with_least = [&](const std::string& line) {
    return found(changed(rewritten, "AWAIT T0 S200 L195", line), rules);
  };
  CHECK(with_least("AWAIT T0 S200 L195").empty());
  for (const char* wrong : {"AWAIT T0 S200 L194", "AWAIT T0 S200 L196", "AWAIT T0 S200 L200",
                            "AWAIT T0 S200", "AWAIT T0 L195", "AWAIT T0 S199 L195"}) {
    CAPTURE(wrong);
    CHECK(with_least(wrong).find("inserted-unknown") != std::string::npos);
  }
  CHECK(with_least("AWAIT T0 S190 L185").find("inserted-unknown") == std::string::npos);
  CHECK_FALSE(with_least("AWAIT T0 S190 L185").empty());
}
